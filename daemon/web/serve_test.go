package web

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
)

// serve runs a server on a free port and returns its address; stop ends it and
// checks that it ends well.
func serve(t *testing.T, s *Server) (address string, stop func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, l) }()
	done := false
	stop = func() {
		if done {
			return
		}
		done = true
		cancel()
		select {
		case err := <-served:
			if err != nil {
				t.Errorf("serve: %v", err)
			}
		case <-time.After(2 * stopsWithin):
			t.Error("the server does not stop")
		}
	}
	t.Cleanup(stop)
	return l.Addr().String(), stop
}

// client has no connection left when the test ends.
func client(t *testing.T, config *tls.Config) *http.Client {
	transport := &http.Transport{TLSClientConfig: config}
	t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport, Timeout: 20 * time.Second}
}

func TestListen(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	s := newServer(t, newStand())
	for listen, want := range map[string]string{"nowhere.invalid:0": "nowhere.invalid", taken.Addr().String(): "address already in use"} {
		s.settings.Listen = listen
		if l, err := s.Listen(t.Context()); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "choose another") {
			t.Errorf("listening on %s: %v, %v; want an error with %q that says what to do", listen, l, err, want)
		}
	}
	s.settings.Listen = "127.0.0.1:0"
	l, err := s.Listen(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Serve(ctx, l); err != nil {
		t.Errorf("serving until the end: %v", err)
	}
}

// TestStopFinishesChanges: a change that the bench is making when the server stops
// still gets its answer.
func TestStopFinishesChanges(t *testing.T) {
	bench := newStand()
	begun, finish := make(chan struct{}), make(chan struct{})
	bench.do = func(ctx context.Context, _ request.Request) (request.Reply, error) {
		close(begun)
		select {
		case <-finish:
			return request.Reply{Body: []byte(`{"id":"0612-1"}`), OnDisk: true}, nil
		case <-ctx.Done():
			return request.Reply{}, ctx.Err()
		}
	}
	address, stop := serve(t, newServer(t, bench))
	answered := make(chan int, 1)
	c := client(t, nil)
	go func() {
		response, err := c.Post("http://"+address+"/api/v1/batches/0612-1/good", "application/json", strings.NewReader("{}"))
		if err != nil {
			answered <- 0
			return
		}
		response.Body.Close()
		answered <- response.StatusCode
	}()
	<-begun
	stopped := make(chan struct{})
	go func() { stop(); close(stopped) }()
	// The server has stopped listening once a connection is refused.
	for {
		probe, err := net.Dial("tcp", address)
		if err != nil {
			break
		}
		probe.Close()
	}
	close(finish)
	if status := <-answered; status != http.StatusOK {
		t.Errorf("status %d", status)
	}
	<-stopped
}

// webConfig writes an exporter-toolkit file with TLS and one user, whose password is
// "fakepassword".
func webConfig(t *testing.T) (file string, roots *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "bench-1"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	write := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	cert := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	certFile := write("cert.pem", cert)
	keyFile := write("key.pem", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}))
	file = write("web.yml", fmt.Appendf(nil, "tls_server_config: {cert_file: %q, key_file: %q}\nbasic_auth_users:\n  shop: %q\n",
		certFile, keyFile, "$2y$10$QOauhQNbBCuQDKes6eFzPeMqBSjb7Mr5DUmpZ/VcEd00UAV/LDeSi"))
	roots = x509.NewCertPool()
	roots.AppendCertsFromPEM(cert)
	return file, roots
}

func TestTLSAndUser(t *testing.T) {
	file, roots := webConfig(t)
	bench := newStand()
	s := newServer(t, bench)
	s.settings.WebConfigFile = file
	address, _ := serve(t, s)
	c := client(t, &tls.Config{RootCAs: roots})
	get := func(password string) int {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "https://"+address+"/api/v1/air", nil)
		if err != nil {
			t.Fatal(err)
		}
		if password != "" {
			r.SetBasicAuth("shop", password)
		}
		response, err := c.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer response.Body.Close()
		io.Copy(io.Discard, response.Body)
		return response.StatusCode
	}
	if got := get("fakepassword"); got != http.StatusOK {
		t.Errorf("with the password: status %d", got)
	}
	if got := get("guessed"); got != http.StatusUnauthorized {
		t.Errorf("with another password: status %d", got)
	}
	if got := get(""); got != http.StatusUnauthorized {
		t.Errorf("without a password: status %d", got)
	}
}

func TestWrongWebConfig(t *testing.T) {
	s := newServer(t, newStand())
	s.settings.WebConfigFile = filepath.Join(t.TempDir(), "missing.yml")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Serve(t.Context(), l); err == nil || !strings.Contains(err.Error(), "missing.yml") {
		t.Errorf("error %v", err)
	}
	select {
	case <-s.Serving():
		t.Error("it says that it serves, with a file that cannot be read")
	default:
	}
}

func TestPageIsThere(t *testing.T) {
	w := answerTo(newServer(t, newStand()).Handler(), fromHere("GET", "/", ""))
	if w.Code != http.StatusOK || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
		t.Errorf("status %d, header %v", w.Code, w.Header())
	}
}

// writeFile writes a file into a directory of the test and returns its path.
func writeFile(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
