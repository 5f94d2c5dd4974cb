package web

import (
	"context"
	"net"
	"net/http"
	"strings"
	"testing"
)

func TestHostNames(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	for host, want := range map[string]int{
		"localhost": 200, "LOCALHOST:9755": 200, "localhost.:1": 200, "127.0.0.1": 200, "127.0.0.1:80": 200, "127.8.9.1": 200, "[::1]:9755": 200, "[::1]": 200,
		"bench-1.local": 200, "Bench-1.Local:9755": 200, "bench-1.local.": 200, "192.168.1.5:9755": 200, // the address that the request came in on
		"": 421, "attacker.example": 421, "attacker.example:9755": 421, "127.0.0.1.attacker.example": 421, "bench-1.local.attacker.example": 421,
		"192.168.1.6": 421, "[::ffff:192.168.1.6]": 421, "0.0.0.0": 421, "bench-2.local": 421, ":9755": 421,
	} {
		for _, path := range []string{"/api/v1/air", "/", "/metrics", "/healthz"} {
			r := fromHere("GET", path, "")
			r.Host = host
			r = r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, &net.TCPAddr{IP: net.IPv4(192, 168, 1, 5), Port: 9755}))
			w := answerTo(h, r)
			if w.Code != want {
				t.Errorf("%s with Host %q: status %d, want %d", path, host, w.Code, want)
			}
			if want == 421 {
				isProblem(t, w, want)
			}
		}
	}
}

// TestOwnName: the name or address that it was told to listen on is its own.
func TestOwnName(t *testing.T) {
	for _, listen := range []string{"bench-7.lan:9755", "10.0.0.7:9755", "[fd00::7]:9755"} {
		s := newServer(t, newStand())
		s.settings.Listen = listen
		r := fromHere("GET", "/healthz", "")
		r.Host = listen
		if w := answerTo(s.Handler(), r); w.Code != http.StatusOK {
			t.Errorf("%s: status %d", listen, w.Code)
		}
	}
}

// TestEveryAddress: listening on all addresses makes none of them a name.
func TestEveryAddress(t *testing.T) {
	for _, listen := range []string{"0.0.0.0:9755", "[::]:9755", ":9755"} {
		s := newServer(t, newStand())
		s.settings.Listen = listen
		r := fromHere("GET", "/healthz", "")
		r.Host = listen
		isProblem(t, answerTo(s.Handler(), r), http.StatusMisdirectedRequest)
	}
}

func TestWhoMayChange(t *testing.T) {
	tests := map[string]struct {
		change func(r *http.Request)
		status int
	}{
		"loopback":          {func(*http.Request) {}, 200},
		"loopback, IPv6":    {func(r *http.Request) { r.RemoteAddr = "[::1]:5000" }, 200},
		"loopback, mapped":  {func(r *http.Request) { r.RemoteAddr = "[::ffff:127.0.0.1]:5000" }, 200},
		"another machine":   {func(r *http.Request) { r.RemoteAddr = "192.168.1.9:5000" }, 401},
		"no address":        {func(r *http.Request) { r.RemoteAddr = "@" }, 401},
		"forwarded":         {func(r *http.Request) { r.Header.Set("Forwarded", "for=10.0.0.1") }, 401},
		"forwarded, empty":  {func(r *http.Request) { r.Header["Forwarded"] = []string{""} }, 401},
		"x-forwarded-for":   {func(r *http.Request) { r.Header.Set("X-Forwarded-For", "10.0.0.1") }, 401},
		"x-forwarded-odd":   {func(r *http.Request) { r.Header.Set("x-forwarded-anything", "") }, 401},
		"own page":          {func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-origin") }, 200},
		"another site":      {func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, 403},
		"another port":      {func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") }, 403},
		"another origin":    {func(r *http.Request) { r.Header.Set("Origin", "http://attacker.example") }, 403},
		"an origin of none": {func(r *http.Request) { r.Header.Set("Origin", "null") }, 403},
		"own origin":        {func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:9755") }, 200},
	}
	s := newStand()
	h := newServer(t, s).Handler()
	for name, test := range tests {
		s.asked = nil
		r := fromHere("POST", "/api/v1/batches/0612-1/good", "")
		test.change(r)
		w := answerTo(h, r)
		if w.Code != test.status {
			t.Errorf("%s: status %d, want %d: %s", name, w.Code, test.status, w.Body)
		}
		if test.status != 200 {
			isProblem(t, w, test.status)
		}
		if made := len(s.asked) == 1; made != (test.status == 200) {
			t.Errorf("%s: the bench was asked %d times", name, len(s.asked))
		}
		// Reading stays open to all of them.
		r = fromHere("GET", "/api/v1/air", "")
		test.change(r)
		if w := answerTo(h, r); w.Code != http.StatusOK {
			t.Errorf("%s: reading: status %d", name, w.Code)
		}
	}
	r := fromHere("POST", "/api/v1/batches/0612-1/good", "")
	r.RemoteAddr = "192.168.1.9:5000"
	if p := isProblem(t, answerTo(newServer(t, newStand()).Handler(), r), 401); !strings.Contains(p["detail"].(string), "potlifed pin") {
		t.Errorf("detail %q does not say what to do", p["detail"])
	}
}

func TestHeaders(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	for _, path := range []string{"/", "/api/v1/air", "/nothing", "/metrics", "/healthz", "/openapi.json", "/asyncapi.json", "/api/v1/nothing"} {
		header := answerTo(h, fromHere("GET", path, "")).Header()
		policy := header.Get("Content-Security-Policy")
		if !strings.Contains(policy, "default-src 'none'") || !strings.Contains(policy, "frame-ancestors 'none'") || strings.Contains(policy, "unsafe") ||
			len(header.Values("Content-Security-Policy")) != 1 {
			t.Errorf("%s: policy %q", path, policy)
		}
		if header.Get("X-Content-Type-Options") != "nosniff" || header.Get("X-Frame-Options") != "DENY" || header.Get("Referrer-Policy") == "" {
			t.Errorf("%s: header %v", path, header)
		}
	}
}
