package web

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
)

// TestBodyThatNeverComes: the server answers a request that announces a body and does
// not send it, and closes the connection when its time is over. It keeps no goroutine,
// whatever the path and whatever the answer.
func TestBodyThatNeverComes(t *testing.T) {
	s := hasten(newServer(t, newStand()))
	s.bodyWithin = 50 * time.Millisecond
	address, _ := serve(t, s)
	requests := map[string]struct {
		line, header string
		length       int
		status       int
	}{
		"page":             {"GET /", "Host: localhost", 1000, 200},
		"metrics":          {"GET /metrics", "Host: localhost", 1000, 200},
		"health":           {"GET /healthz", "Host: localhost", 1000, 200},
		"list":             {"GET /api/v1/air", "Host: localhost", 1000, 200},
		"stream":           {"GET /api/v1/stream", "Host: localhost", 1000, 400},
		"change":           {"POST /api/v1/batches/0612-1/good", "Host: localhost", 1000, 408},
		"long change":      {"POST /api/v1/batches", "Host: localhost", bodyBytes + 1, 413},
		"pairing":          {"POST /api/v1/session", "Host: localhost", sessionBytes, 408},
		"long pairing":     {"POST /api/v1/session", "Host: localhost", 1_000_000, 413},
		"without right":    {"POST /api/v1/batches", "Host: localhost\r\nForwarded: for=10.0.0.1", 1000, 401},
		"other site":       {"POST /api/v1/batches", "Host: localhost\r\nSec-Fetch-Site: cross-site", 1000, 403},
		"nothing there":    {"GET /api/v1/nothing", "Host: localhost", 1000, 404},
		"no page":          {"GET /nothing", "Host: localhost", 1000, 404},
		"wrong method":     {"PUT /healthz", "Host: localhost", 1000, 405},
		"wrong API method": {"POST /api/v1/air", "Host: localhost", 1000, 405},
		"wrong host":       {"GET /healthz", "Host: attacker.example", 1000, 421},
	}
	first, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(first, "GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
	if _, err := io.ReadAll(first); err != nil { // now the server runs, and this connection has ended
		t.Fatal(err)
	}
	first.Close()
	before := runtime.NumGoroutine()
	connections := map[string]net.Conn{}
	for name, request := range requests {
		for i := range 5 {
			c, err := net.Dial("tcp", address)
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			fmt.Fprintf(c, "%s HTTP/1.1\r\n%s\r\nContent-Length: %d\r\nContent-Type: application/json\r\n\r\n{", request.line, request.header, request.length)
			connections[fmt.Sprintf("%s %d", name, i)] = c
		}
	}
	for name, c := range connections {
		want := requests[name[:strings.LastIndexByte(name, ' ')]].status
		// The limit is that of a server that keeps the connection, far above bodyWithin.
		c.SetReadDeadline(time.Now().Add(8 * time.Second))
		r := bufio.NewReader(c)
		response, err := http.ReadResponse(r, nil)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if response.StatusCode != want {
			t.Errorf("%s: status %d, want %d", name, response.StatusCode, want)
		}
		if !response.Close {
			t.Errorf("%s: the answer does not close the connection", name)
		}
		if _, err := io.Copy(io.Discard, response.Body); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := r.ReadByte(); err == nil || isTimeout(err) {
			t.Errorf("%s: the connection stays open: %v", name, err)
		}
	}
	waitFor(t, "the goroutines of the connections to end", func() bool { return runtime.NumGoroutine() <= before })
}

func isTimeout(err error) bool {
	timeout, ok := err.(net.Error)
	return ok && timeout.Timeout()
}

// TestUnsentBodyWithoutPassword: the answer to a wrong password of the web_config_file
// is given before protect sees the request, and is bounded as well.
func TestUnsentBodyWithoutPassword(t *testing.T) {
	file := writeFile(t, "web.yml", "basic_auth_users: {shop: $2y$10$QOauhQNbBCuQDKes6eFzPeMqBSjb7Mr5DUmpZ/VcEd00UAV/LDeSi}\n")
	s := newServer(t, newStand())
	s.settings.WebConfigFile, s.bodyWithin = file, time.Second
	address, _ := serve(t, s)
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprint(c, "GET /healthz HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\n")
	c.SetReadDeadline(time.Now().Add(8 * time.Second))
	answer, err := io.ReadAll(c)
	if err != nil || !strings.HasPrefix(string(answer), "HTTP/1.1 401 ") {
		t.Errorf("answer %.80q, %v; want 401 and the end of the connection", answer, err)
	}
}

// The pages' certificate is read at each connection: one that was renewed needs no restart.
func TestRenewedCertificateOfThePages(t *testing.T) {
	dir := t.TempDir()
	cert, key := mqtttest.SelfSigned(t, dir)
	s := newServer(t, newStand())
	s.settings.WebConfigFile = writeFile(t, "web.yml", fmt.Sprintf("tls_server_config: {cert_file: %q, key_file: %q}\n", cert, key))
	address, _ := serve(t, s)
	shows := func() []byte {
		c, err := tls.Dial("tcp", address, &tls.Config{InsecureSkipVerify: true})
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		return c.ConnectionState().PeerCertificates[0].Raw
	}
	before := shows()
	mqtttest.SelfSigned(t, dir)
	if bytes.Equal(shows(), before) {
		t.Error("the old certificate is shown after it was renewed")
	}
}

// TestBodiesAreReadInTurn: a change waits for its turn to be read, and is refused when
// there is none. Requests to pair need none.
func TestBodiesAreReadInTurn(t *testing.T) {
	g := newServer(t, newStand())
	g.bodyWithin = time.Millisecond
	for range bodiesAtOnce {
		g.bodies <- struct{}{}
	}
	change := func() *http.Request { return fromHere("POST", "/api/v1/batches/0612-1/good", "{}") }
	isProblem(t, answerTo(g.Handler(), change()), http.StatusServiceUnavailable)
	isProblem(t, answerTo(g.Handler(), fromHere("POST", "/api/v1/session", `{"pin":"902817"}`)), http.StatusConflict)
	<-g.bodies
	if w := answerTo(g.Handler(), change()); w.Code != http.StatusOK {
		t.Errorf("with a turn: status %d: %s", w.Code, w.Body)
	}
	if len(g.bodies) != bodiesAtOnce-1 {
		t.Errorf("%d turns are taken, want %d", len(g.bodies), bodiesAtOnce-1)
	}
}
