package mqtt

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
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

	paho "github.com/eclipse/paho.mqtt.golang"

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
	return writePair(t, dir, "", der, private)
}

// writePair writes a certificate and its key as files.
func writePair(t *testing.T, dir, prefix string, der []byte, private *ecdsa.PrivateKey) (cert, key string) {
	t.Helper()
	pkcs8, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(dir, prefix+"cert.pem"), filepath.Join(dir, prefix+"key.pem")
	for path, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: pkcs8}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

// issue writes a client's certificate that an authority has signed, and its key.
func issue(t *testing.T, dir, name, caCert, caKey string) (cert, key string) {
	t.Helper()
	ca, err := tls.LoadX509KeyPair(caCert, caKey)
	if err != nil {
		t.Fatal(err)
	}
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, ca.Leaf, &private.PublicKey, ca.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	return writePair(t, dir, name+"-", der, private)
}

// A broker that knows its clients by their certificates: the publisher and every light
// of it show theirs, and without one nobody is let in.
func TestClientCertificate(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o755); err != nil { // mosquitto gives root up before it reads
		t.Fatal(err)
	}
	m := newMosquitto(t).(*mosquitto)
	cert, key := selfSigned(t, dir)
	clientCert, clientKey := issue(t, dir, "bench-1", cert, key)
	rights := filepath.Join(dir, "rights")
	if err := os.WriteFile(rights, []byte("user bench-1\ntopic readwrite potlife/bench-1/#\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	m.stop()
	conf := fmt.Sprintf("user root\nlistener %d 127.0.0.1\nallow_anonymous false\nrequire_certificate true\nuse_identity_as_username true\n"+
		"acl_file %s\ncafile %s\ncertfile %s\nkeyfile %s\npersistence false\nlog_type none\n", m.port, rights, cert, cert, key)
	if err := os.WriteFile(m.conf, []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start()
	shop := config.Shop{
		Bench: "bench-1", MQTT: config.MQTT{URL: "mqtts://" + m.addr(), TopicPrefix: "potlife", CAFile: cert},
		Lights: []config.Light{{ID: "light-1", Reads: []string{"json"}}},
	}
	s, err := FromShop(shop)
	if err != nil {
		t.Fatal(err)
	}
	p, stop := runPublisher(t, newRoom(), s)
	until(t, "the refusal to be told", func() bool { return p.Status().Detail != "" })
	if st := p.Status(); st.Connected || st.Messages[Count{"out", "ok"}] != 0 {
		t.Errorf("without a certificate: %+v", st)
	}
	stop()

	shop.MQTT.CertFile, shop.MQTT.KeyFile = clientCert, clientKey
	if s, err = FromShop(shop); err != nil {
		t.Fatal(err)
	}
	reader, err := FromShop(shop)
	if err != nil {
		t.Fatal(err)
	}
	o := paho.NewClientOptions().AddBroker(reader.URL).SetClientID("reader").SetTLSConfig(reader.TLS)
	light := make(chan struct{}, 64)
	o.SetOnConnectHandler(func(c paho.Client) {
		c.Subscribe(root+"light/light-1", 1, func(paho.Client, paho.Message) {
			select {
			case light <- struct{}{}:
			default:
			}
		})
	})
	client := paho.NewClient(o)
	if token := client.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatalf("the reader: %v", token.Error())
	}
	defer client.Disconnect(0)
	p, _ = runPublisher(t, newRoom(), s)
	until(t, "everything to be published", func() bool { return p.Connected() && p.Status().Messages[Count{"out", "ok"}] >= 6 })
	select {
	case <-light:
	case <-time.After(10 * time.Second):
		t.Error("the light was told nothing")
	}
	if text := p.Status().Swallowed; text != "" {
		t.Error(text)
	}
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
