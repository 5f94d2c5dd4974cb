package broker

import (
	"context"
	"crypto/tls"
	"os"
	"testing"

	"potlifed/daemon/config"
	"potlifed/daemon/mqtt/mqtttest"
)

// A certificate that was renewed is used from the next handshake on, by the broker and by the daemon's
// own clients. While the files are half written, the last one stays.
func TestRenewedCertificate(t *testing.T) {
	dir := t.TempDir()
	cert, key := mqtttest.SelfSigned(t, dir)
	files := config.Broker{CertFile: cert, KeyFile: key}
	first, err := LoadCertificate(files)
	if err != nil {
		t.Fatal(err)
	}
	s := testSettings("127.0.0.1:0", false)
	s.Certificate, s.ReadCertificate = first, func() (*tls.Certificate, error) { return LoadCertificate(files) }
	b, err := Start(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }()
	own := b.OwnClients().TLS
	presented := func() string {
		t.Helper()
		conn, err := tls.Dial("tcp", b.Addr(), own)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = conn.Close() }()
		return string(conn.ConnectionState().PeerCertificates[0].Raw)
	}
	if presented() != string(first.Certificate[0]) {
		t.Error("the first certificate is not presented")
	}
	if err := os.WriteFile(cert, []byte("half of a"), 0o600); err != nil {
		t.Fatal(err)
	}
	if presented() != string(first.Certificate[0]) {
		t.Error("the last certificate did not stay while the file could not be read")
	}
	newCert, newKey := mqtttest.SelfSigned(t, t.TempDir())
	for from, to := range map[string]string{newCert: cert, newKey: key} {
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}
	second, err := LoadCertificate(files)
	if err != nil {
		t.Fatal(err)
	}
	if presented() != string(second.Certificate[0]) {
		t.Error("the renewed certificate is not presented")
	}
}
