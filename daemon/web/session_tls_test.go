package web

import (
	"crypto/tls"
	"io"
	"net/http"
	"strings"
	"testing"

	"potlifed/daemon/request"
)

// TestSessionsBesideTLSAndUser: the password for reading and the session do not get in
// each other's way, and over TLS the cookie never travels without it.
func TestSessionsBesideTLSAndUser(t *testing.T) {
	file, roots := webConfig(t)
	g := newGuarded(t)
	g.server.settings.WebConfigFile = file
	token := g.token("line-2", request.RightMix)
	address, _ := serve(t, g.server)
	c := client(t, &tls.Config{RootCAs: roots})
	ask := func(path, body string, headers ...string) *http.Response {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "https://"+address+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		r.SetBasicAuth("shop", "fakepassword")
		for i := 0; i < len(headers); i += 2 {
			r.Header.Add(headers[i], headers[i+1])
		}
		response, err := c.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		io.Copy(io.Discard, response.Body)
		response.Body.Close()
		return response
	}
	if got := ask(goodPath, "{}").StatusCode; got != http.StatusUnauthorized {
		t.Errorf("the password for reading lets change: status %d", got)
	}
	response := ask("/api/v1/session", `{"pin":"`+shopPIN+`","device":"tablet"}`)
	cookies := response.Cookies()
	if response.StatusCode != http.StatusOK || len(cookies) != 1 || !cookies[0].Secure || !cookies[0].HttpOnly {
		t.Fatalf("status %d, cookies %v", response.StatusCode, cookies)
	}
	if got := ask(goodPath, "{}", "Cookie", cookieName+"="+cookies[0].Value).StatusCode; got != http.StatusOK {
		t.Errorf("paired: status %d", got)
	}
	// The password's header stands first, and the toolkit looks at no other.
	if got := ask(goodPath, "{}", "Authorization", "Bearer "+token).StatusCode; got != http.StatusOK {
		t.Errorf("with a token in a header of its own: status %d", got)
	}
}
