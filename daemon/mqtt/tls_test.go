package mqtt

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/config"
	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/peers"
)

// A broker that knows its clients by their certificates: the publisher and every light
// of it present theirs, and no client connects without one.
func TestClientCertificate(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o755); err != nil { // mosquitto gives root up before it reads
		t.Fatal(err)
	}
	m := mqtttest.StartMosquitto(t)
	cert, key := mqtttest.SelfSigned(t, dir)
	clientCert, clientKey := mqtttest.Issue(t, dir, "bench-1", cert, key)
	rights := filepath.Join(dir, "rights")
	if err := os.WriteFile(rights, []byte("user bench-1\ntopic readwrite potlife/bench-1/#\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	m.Stop()
	m.Configure(fmt.Sprintf("allow_anonymous false\nrequire_certificate true\nuse_identity_as_username true\n"+
		"acl_file %s\ncafile %s\ncertfile %s\nkeyfile %s\n", rights, cert, cert, key))
	m.Start()
	shop := config.Shop{
		Bench: "bench-1", MQTT: config.MQTT{URLs: []string{"mqtts://" + m.Addr()}, TopicPrefix: "potlife", CAFile: cert},
		Lights: []config.Light{{ID: "light-1", Reads: []string{"json"}}},
	}
	s, err := FromShop(shop)
	if err != nil {
		t.Fatal(err)
	}
	p, stop := runPublisher(t, newFixture(), s)
	mqtttest.Until(t, "the refusal to be reported", func() bool { return p.Status().Detail != "" })
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
	o := paho.NewClientOptions().AddBroker(reader.URLs[0]).SetClientID("reader").SetTLSConfig(reader.TLS)
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
	if token := client.Connect(); !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
		t.Fatalf("the reader: %v", token.Error())
	}
	defer client.Disconnect(0)
	p, _ = runPublisher(t, newFixture(), s)
	mqtttest.Until(t, "everything to be published", func() bool { return p.Connected() && p.Status().Messages[Count{"out", "ok"}] >= 6 })
	select {
	case <-light:
	case <-time.After(mqtttest.Patience):
		t.Error("the light got no message")
	}
	if text := p.Status().Dropped; text != "" {
		t.Error(text)
	}
}

func TestTLSAndPassword(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o755); err != nil { // mosquitto gives root up before it reads
		t.Fatal(err)
	}
	m := mqtttest.StartMosquitto(t)
	cert, key := mqtttest.SelfSigned(t, dir)
	users, password := filepath.Join(dir, "users"), filepath.Join(dir, "password")
	if out, err := exec.Command(peers.Program(t, "mosquitto_passwd"), "-c", "-b", users, "bench-1", "pass word").CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	if err := os.Chmod(users, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(password, []byte("pass word\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	m.Stop()
	m.Configure(fmt.Sprintf("allow_anonymous false\npassword_file %s\ncertfile %s\nkeyfile %s\n",
		users, cert, key))
	m.Start()
	shop := config.Shop{Bench: "bench-1", MQTT: config.MQTT{
		URLs: []string{"mqtts://" + m.Addr()}, TopicPrefix: "potlife", CAFile: cert, Username: "bench-1", PasswordFile: password,
	}}
	s, err := FromShop(shop)
	if err != nil {
		t.Fatal(err)
	}
	p, stop := runPublisher(t, newFixture(), s)
	mqtttest.Until(t, "everything to be published", func() bool { return p.Connected() && p.Status().Messages[Count{"out", "ok"}] >= 6 })
	stop()

	s.Password = "wrong"
	p, stop = runPublisher(t, newFixture(), s)
	mqtttest.Until(t, "the refusal to be reported", func() bool { return p.Status().Detail != "" })
	if st := p.Status(); st.Connected || !strings.Contains(strings.ToLower(st.Detail), "not authorized") {
		t.Errorf("with a wrong password: %+v", st)
	}
	stop()

	s.Password = "pass word"
	s.ReadTLS, s.TLS.RootCAs = nil, x509.NewCertPool() // nobody is trusted
	p, _ = runPublisher(t, newFixture(), s)
	mqtttest.Until(t, "the refusal to be reported", func() bool { return p.Status().Detail != "" })
	if st := p.Status(); st.Connected || !strings.Contains(st.Detail, "certificate") {
		t.Errorf("with an unknown authority: %+v", st)
	}
}

// The certificate authority and the client's certificate are read for each connection, so that both can
// be renewed while the service runs.
func TestRenewedCertificatesOfTheClient(t *testing.T) {
	dir := t.TempDir()
	cert, key := mqtttest.SelfSigned(t, dir)
	shop := config.Shop{Bench: "bench-1", MQTT: config.MQTT{TopicPrefix: "potlife", CAFile: cert, CertFile: cert, KeyFile: key}}
	var server *tls.Certificate
	l, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{
		MinVersion: tls.VersionTLS12, ClientAuth: tls.RequireAnyClientCert,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return server, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	clients := make(chan []byte, 1)
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			var raw []byte
			if c := conn.(*tls.Conn); c.Handshake() == nil {
				raw = c.ConnectionState().PeerCertificates[0].Raw
			}
			clients <- raw
			_ = conn.Close()
		}
	}()
	shop.MQTT.URLs = []string{"mqtts://" + l.Addr().String()}
	load := func() {
		t.Helper()
		pair, err := tls.LoadX509KeyPair(cert, key)
		if err != nil {
			t.Fatal(err)
		}
		server = &pair
	}
	load()
	s, err := FromShop(shop)
	if err != nil {
		t.Fatal(err)
	}
	where := newAddresses(s)
	for _, renewed := range []bool{false, true} {
		if renewed {
			newCert, newKey := mqtttest.SelfSigned(t, t.TempDir())
			for from, to := range map[string]string{newCert: cert, newKey: key} {
				if err := os.Rename(from, to); err != nil {
					t.Fatal(err)
				}
			}
			load()
		}
		conn, err := where.dial(t.Context())
		if err != nil {
			t.Fatalf("renewed %v: %v", renewed, err)
		}
		_ = conn.Close()
		if raw := <-clients; string(raw) != string(server.Certificate[0]) {
			t.Errorf("renewed %v: the client presented another certificate", renewed)
		}
	}
}
