package mqtt

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
)

// selfSigned writes a certificate for 127.0.0.1 and its key.
func selfSigned(t *testing.T, dir string) (cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test broker"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for path, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: pkcs8}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

func TestTLSAndPassword(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o755); err != nil { // mosquitto gives root up before it reads
		t.Fatal(err)
	}
	m := newMosquitto(t).(*mosquitto)
	cert, key := selfSigned(t, dir)
	users, password := filepath.Join(dir, "users"), filepath.Join(dir, "password")
	if out, err := exec.Command(peer(t, "mosquitto_passwd"), "-c", "-b", users, "bench-1", "pass word").CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	if err := os.Chmod(users, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(password, []byte("pass word\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	m.stop()
	conf := fmt.Sprintf("user root\nlistener %d 127.0.0.1\nallow_anonymous false\npassword_file %s\ncertfile %s\nkeyfile %s\npersistence false\nlog_type none\n",
		m.port, users, cert, key)
	if err := os.WriteFile(m.conf, []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start()
	shop := config.Shop{Bench: "bench-1", MQTT: config.MQTT{
		URL: "mqtts://" + m.addr(), TopicPrefix: "potlife", CAFile: cert, Username: "bench-1", PasswordFile: password,
	}}
	s, err := FromShop(shop)
	if err != nil {
		t.Fatal(err)
	}
	p, stop := runPublisher(t, newRoom(), s)
	until(t, "everything to be published", func() bool { return p.Connected() && p.Status().Messages[Count{"out", "ok"}] >= 6 })
	stop()

	s.Password = "wrong"
	p, stop = runPublisher(t, newRoom(), s)
	until(t, "the refusal to be told", func() bool { return p.Status().Detail != "" })
	if st := p.Status(); st.Connected || !strings.Contains(strings.ToLower(st.Detail), "not authorized") {
		t.Errorf("with a wrong password: %+v", st)
	}
	stop()

	s.Password = "pass word"
	s.TLS.RootCAs = x509.NewCertPool() // nobody is trusted
	p, _ = runPublisher(t, newRoom(), s)
	until(t, "the refusal to be told", func() bool { return p.Status().Detail != "" })
	if st := p.Status(); st.Connected || !strings.Contains(st.Detail, "certificate") {
		t.Errorf("with an unknown authority: %+v", st)
	}
}
