package broker

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"net"
	"os"
	"testing"
	"testing/synctest"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/config"
	"potlifed/daemon/mqtt/mqtttest"
)

// To a broker with a certificate, the daemon's own clients connect, and so does a lamp that
// trusts the certificate. A client without TLS or without that trust cannot connect.
func TestBrokerWithTLS(t *testing.T) {
	cert, key := mqtttest.SelfSigned(t, t.TempDir())
	certificate, err := LoadCertificate(config.Broker{CertFile: cert, KeyFile: key})
	if err != nil {
		t.Fatal(err)
	}
	users := &userList{}
	users.add("lamp-1", []string{"light-1"})
	s := testSettings("127.0.0.1:0", false)
	s.Users, s.Certificate = users, certificate
	b, err := Start(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	if !b.Serves("mqtts://"+b.Addr()) || b.Serves("mqtt://"+b.Addr()) {
		t.Error("its address is that of TLS")
	}
	own := connectOwn(t, b)
	own.retain("light/light-1/meaning", "in-order")

	pem, err := os.ReadFile(cert)
	if err != nil {
		t.Fatal(err)
	}
	trusted := x509.NewCertPool()
	trusted.AppendCertsFromPEM(pem)
	over := func(address string, c *tls.Config) func(*paho.ClientOptions) {
		return func(o *paho.ClientOptions) {
			as("lamp-1")(o)
			o.Servers = nil
			o.AddBroker(address).SetTLSConfig(c)
		}
	}
	lamp, err := guest(t, b, over("mqtts://"+b.Addr(), &tls.Config{RootCAs: trusted}))
	if err != nil {
		t.Fatalf("a lamp that trusts the certificate: %v", err)
	}
	got := make(chan string, 64)
	if token := lamp.Subscribe(root+"light/light-1/meaning", 1, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }); !token.WaitTimeout(mqtttest.Patience) {
		t.Fatal("subscribe: no answer")
	}
	if word := <-got; word != "in-order" {
		t.Errorf("the light is %q", word)
	}
	if _, err := guest(t, b, over("mqtts://"+b.Addr(), &tls.Config{RootCAs: x509.NewCertPool()})); err == nil {
		t.Error("a client that trusts no certificate connected")
	}
	if _, err := guest(t, b, over("mqtt://"+b.Addr(), nil)); err == nil {
		t.Error("a client without TLS connected")
	}
	if !own.IsConnectionOpen() {
		t.Error("the daemon's own client lost its connection")
	}
}

// A client that reads nothing does not delay a stop, although TLS has a closing message.
func TestCloseDoesNotWaitForTLS(t *testing.T) {
	cert, key := mqtttest.SelfSigned(t, t.TempDir())
	pair, err := LoadCertificate(config.Broker{CertFile: cert, KeyFile: key})
	if err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		here, there := net.Pipe() // holds nothing: what is written waits for a reader
		defer there.Close()
		broker := tls.Server(here, &tls.Config{Certificates: []tls.Certificate{*pair}, SessionTicketsDisabled: true})
		shaken := make(chan error, 1)
		go func() {
			shaken <- tls.Client(there, trustOnly(func() []byte { return pair.Certificate[0] })).Handshake()
		}()
		if err := errors.Join(broker.Handshake(), <-shaken); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		if err := (deadlineConn{broker, func() {}}).Close(); err != nil {
			t.Error(err)
		}
		if waited := time.Since(began); waited > 0 {
			t.Errorf("Close waited %v for a client that reads nothing", waited)
		}
	})
}

// The daemon's own clients accept the broker's certificate and no other, not even one of the
// same name.
func TestOwnClientsTrustOneCertificate(t *testing.T) {
	pairs := make([]*tls.Certificate, 2)
	for i := range pairs {
		cert, key := mqtttest.SelfSigned(t, t.TempDir())
		var err error
		if pairs[i], err = LoadCertificate(config.Broker{CertFile: cert, KeyFile: key}); err != nil {
			t.Fatal(err)
		}
	}
	s := testSettings("127.0.0.1:0", false)
	s.Certificate = pairs[0]
	b, err := Start(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	for i, pair := range pairs {
		conn, err := tls.Dial("tcp", b.Addr(), trustOnly(func() []byte { return pair.Certificate[0] }))
		if (err == nil) != (i == 0) {
			t.Errorf("certificate %d: %v", i, err)
		}
		if err == nil {
			_ = conn.Close()
		}
	}
	if _, err := LoadCertificate(config.Broker{CertFile: "/nowhere", KeyFile: "/nowhere"}); err == nil {
		t.Error("a certificate that is not there was read")
	}
}
