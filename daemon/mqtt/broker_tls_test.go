package mqtt

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
)

// A built-in broker with a certificate: the daemon's own clients come in, a lamp that
// trusts the certificate reads its light, and whoever speaks no TLS, or trusts nobody,
// does not.
func TestBuiltInBrokerWithTLS(t *testing.T) {
	cert, key := selfSigned(t, t.TempDir())
	certificate, err := BrokerCertificate(config.Broker{CertFile: cert, KeyFile: key})
	if err != nil {
		t.Fatal(err)
	}
	users := &book{}
	users.enter("lamp-1", []string{"light-1"})
	s := brokerSettings("127.0.0.1:0", false)
	s.Users, s.Certificate = users, certificate
	b, err := StartBroker(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	if !b.Serves("mqtts://"+b.Addr()) || b.Serves("mqtt://"+b.Addr()) {
		t.Error("its address is that of TLS")
	}
	p, _ := runPublisher(t, newRoom(), b.Own(testSettings("")))
	until(t, "everything to be published", func() bool { return p.Connected() && p.Status().Messages[Count{"out", "ok"}] >= 6 })

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
	if token := lamp.Subscribe(root+"light/light-1/meaning", 1, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }); !token.WaitTimeout(writeTimeout) {
		t.Fatal("subscribe: no answer")
	}
	if word := <-got; word != "in-order" {
		t.Errorf("the light is %q", word)
	}
	if _, err := guest(t, b, over("mqtts://"+b.Addr(), &tls.Config{RootCAs: x509.NewCertPool()})); err == nil {
		t.Error("a client that trusts nobody came in")
	}
	if _, err := guest(t, b, over("mqtt://"+b.Addr(), nil)); err == nil {
		t.Error("a client without TLS came in")
	}
	if !p.Connected() {
		t.Error("the daemon's own client was lost over it")
	}
}

// A client that takes nothing more keeps no stop waiting, though TLS would like to say
// goodbye to it.
func TestDeafClientOverTLSIsHungUpOn(t *testing.T) {
	cert, key := selfSigned(t, t.TempDir())
	pair, err := BrokerCertificate(config.Broker{CertFile: cert, KeyFile: key})
	if err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		here, there := net.Pipe() // holds nothing: what is written waits for a reader
		defer there.Close()
		broker := tls.Server(here, &tls.Config{Certificates: []tls.Certificate{*pair}, SessionTicketsDisabled: true})
		shaken := make(chan error, 1)
		go func() { shaken <- tls.Client(there, trustsOnly(pair.Certificate[0])).Handshake() }()
		if err := errors.Join(broker.Handshake(), <-shaken); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		if err := (impatient{broker}).Close(); err != nil {
			t.Error(err)
		}
		if waited := time.Since(began); waited > 0 {
			t.Errorf("a stop waited %v for a deaf client", waited)
		}
	})
}

// The daemon's own clients take nobody else for the built-in broker, a certificate of
// the same name included.
func TestOwnClientsKnowTheirBroker(t *testing.T) {
	pairs := make([]*tls.Certificate, 2)
	for i := range pairs {
		cert, key := selfSigned(t, t.TempDir())
		var err error
		if pairs[i], err = BrokerCertificate(config.Broker{CertFile: cert, KeyFile: key}); err != nil {
			t.Fatal(err)
		}
	}
	s := brokerSettings("127.0.0.1:0", false)
	s.Certificate = pairs[0]
	b, err := StartBroker(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	for i, pair := range pairs {
		conn, err := tls.Dial("tcp", b.Addr(), trustsOnly(pair.Certificate[0]))
		if (err == nil) != (i == 0) {
			t.Errorf("certificate %d: %v", i, err)
		}
		if err == nil {
			_ = conn.Close()
		}
	}
	if _, err := BrokerCertificate(config.Broker{CertFile: "/nowhere", KeyFile: "/nowhere"}); err == nil {
		t.Error("a certificate that is not there was read")
	}
}
