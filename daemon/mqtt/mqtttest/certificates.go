package mqtttest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// SelfSigned writes a certificate for 127.0.0.1 and its key into a folder, and returns their
// paths.
func SelfSigned(t testing.TB, dir string) (cert, key string) {
	t.Helper()
	return selfSigned(t, dir, time.Hour)
}

// Lasting writes a certificate such as SelfSigned's that ends after a time.
func Lasting(t testing.TB, dir string, d time.Duration) (cert string) {
	t.Helper()
	cert, _ = selfSigned(t, dir, d)
	return cert
}

func selfSigned(t testing.TB, dir string, d time.Duration) (cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test broker"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(d),
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
func writePair(t testing.TB, dir, prefix string, der []byte, private *ecdsa.PrivateKey) (cert, key string) {
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

// Issue writes a client's certificate that an authority has signed, and its key, into a
// folder, and returns their paths.
func Issue(t testing.TB, dir, name, caCert, caKey string) (cert, key string) {
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
