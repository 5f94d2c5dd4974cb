package web

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
)

// TestRefusedPairings: what is no pairing gets no cookie, costs no guess where it was
// none, and the PIN never comes back in an answer.
func TestRefusedPairings(t *testing.T) {
	g := newGuarded(t)
	for _, test := range []struct {
		body   string
		status int
	}{
		{``, 400},
		{`{`, 400},
		{`{}`, 422},
		{`[]`, 422},
		{`{"pin":902817}`, 422},
		{`{"pin":["902817"]}`, 422},
		{`{"pin":"902817","Device":"x"}`, 422},
		{`{"pin":"902817","pin":"902817"}`, 422},
		{`{"pin":"902817","device":"local"}`, 422},
		{`{"pin":"902817","device":"a\u0000b"}`, 422},
		{`{"pin":"902817","device":"` + strings.Repeat("x", 41) + `"}`, 422},
		{`{"pin":"` + strings.Repeat("9", 65) + `"}`, 422},
		{`{"pin":"902818"}`, 401},
		{`{"pin":"９０２８１７"}`, 401},
		{`{"pin":"902817","device":"` + strings.Repeat("x", bodyBytes) + `"}`, 413},
	} {
		w := answerTo(g, remote("POST", "/api/v1/session", test.body))
		isProblem(t, w, test.status)
		if len(w.Result().Cookies()) != 0 {
			t.Errorf("%.60s: a cookie was set", test.body)
		}
		if strings.Contains(w.Body.String(), "9028") {
			t.Errorf("%.60s: the PIN comes back: %s", test.body, w.Body)
		}
	}
	r := remote("POST", "/api/v1/session", `{"pin":"902817"}`)
	r.Header.Set("Content-Type", "text/plain") // what another site's form may send
	isProblem(t, answerTo(g, r), http.StatusUnsupportedMediaType)
	r = remote("POST", "/api/v1/session", `{"pin":"902817"}`)
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	isProblem(t, answerTo(g, r), http.StatusForbidden)
	if w := answerTo(g, remote("GET", "/api/v1/session", "")); w.Code != http.StatusMethodNotAllowed || w.Header().Get("Allow") != "POST" {
		t.Errorf("GET: status %d, Allow %q", w.Code, w.Header().Get("Allow"))
	}
	p := isProblem(t, answerTo(newServer(t, newStand()).Handler(), remote("POST", "/api/v1/session", `{"pin":"902817"}`)), http.StatusConflict)
	if !strings.Contains(p["detail"].(string), "potlifed pin") {
		t.Errorf("without a PIN: %v", p)
	}
}

// TestWrongPINsRunOut for the one who guesses, who is told when to come back, and for
// nobody else.
func TestWrongPINsRunOut(t *testing.T) {
	g := newGuarded(t)
	guess := func(pin, from string) (int, http.Header) {
		r := remote("POST", "/api/v1/session", `{"pin":"`+pin+`"}`)
		r.RemoteAddr = from
		w := answerTo(g, r)
		if w.Code == http.StatusTooManyRequests {
			if text := isProblem(t, w, w.Code)["text"].(string); !strings.HasPrefix(text, "Too many wrong PINs. Wait ") {
				t.Errorf("who guesses reads %q", text)
			}
		}
		return w.Code, w.Header()
	}
	wrong := 0
	var header http.Header
	for status := 401; status == 401; wrong++ {
		status, header = guess("111213", "10.0.0.66:"+strconv.Itoa(1000+wrong))
		if status != 401 && status != 429 {
			t.Fatalf("status %d", status)
		}
		if wrong > 20 {
			t.Fatal("guesses do not run out")
		}
	}
	wait, err := strconv.Atoi(header.Get("Retry-After"))
	if err != nil || wait < 1 || wait > 60 {
		t.Errorf("Retry-After %q", header.Get("Retry-After"))
	}
	if status, _ := guess(shopPIN, "10.0.0.66:1"); status != 429 {
		t.Errorf("the right PIN from there at once: status %d", status)
	}
	if status, _ := guess(shopPIN, "10.0.0.67:1"); status != 200 {
		t.Errorf("from elsewhere: status %d", status)
	}
	g.now = g.now.Add(time.Duration(wait) * time.Second)
	if status, _ := guess(shopPIN, "10.0.0.66:1"); status != 200 {
		t.Errorf("after the wait: status %d", status)
	}
}

// TestNoSessionIsFixed: a cookie that somebody slipped to a device is never the one it
// is let in by, and the one it had before ends.
func TestNoSessionIsFixed(t *testing.T) {
	g := newGuarded(t)
	slipped := &http.Cookie{Name: cookieName, Value: strings.Repeat("A", 43)}
	pair := func(with *http.Cookie) *http.Cookie {
		r := remote("POST", "/api/v1/session", `{"pin":"`+shopPIN+`","device":"tablet"}`)
		r.AddCookie(with)
		w := answerTo(g, r)
		if w.Code != 200 {
			t.Fatalf("status %d", w.Code)
		}
		return w.Result().Cookies()[0]
	}
	tries := func(c *http.Cookie) int {
		r := remote("POST", goodPath, "")
		r.AddCookie(c)
		return answerTo(g, r).Code
	}
	first := pair(slipped)
	if first.Value == slipped.Value || tries(slipped) != 401 || tries(first) != 200 {
		t.Error("a session has a secret that somebody else chose")
	}
	second := pair(first)
	if second.Value == first.Value || tries(first) != 401 || tries(second) != 200 {
		t.Error("the session before the second pairing goes on")
	}
	// A device that carries a planted cookie beside its own is still let in.
	r := remote("POST", goodPath, "")
	r.AddCookie(slipped)
	r.AddCookie(second)
	if w := answerTo(g, r); w.Code != 200 {
		t.Errorf("with a planted cookie as well: status %d", w.Code)
	}
}

func TestSessionsAreListedAndEnded(t *testing.T) {
	g := newGuarded(t)
	tablet, phone := g.pair("tablet"), g.pair("phone")
	if w := answerTo(g, remote("GET", "/api/v1/sessions", "")); w.Code != 200 || strings.Contains(w.Body.String(), `"mine":true`) || strings.Contains(w.Body.String(), tablet.Value) {
		t.Errorf("read by a stranger: status %d: %s", w.Code, w.Body)
	}
	get := func(c *http.Cookie) map[string]map[string]any {
		r := remote("GET", "/api/v1/sessions", "")
		r.AddCookie(c)
		w := answerTo(g, r)
		if strings.Contains(w.Body.String(), tablet.Value) || strings.Contains(w.Body.String(), "hash") {
			t.Errorf("a secret is listed: %s", w.Body)
		}
		v := object(t, w)
		if v["pin_set"] != true || v["seq"] != 42.0 {
			t.Errorf("list %v", v)
		}
		rows := map[string]map[string]any{}
		for _, row := range v["sessions"].([]any) {
			row := row.(map[string]any)
			rows[row["device"].(string)] = row
		}
		return rows
	}
	rows := get(tablet)
	if len(rows) != 2 || rows["tablet"]["mine"] != true || rows["phone"]["mine"] != false || rows["phone"]["until"] != "2026-07-12T09:30:00Z" {
		t.Fatalf("sessions %v", rows)
	}
	end := func(by *http.Cookie, id string) *http.Response {
		r := remote("POST", "/api/v1/sessions/"+id+"/unpair", "")
		r.AddCookie(by)
		return answerTo(g, r).Result()
	}
	if w := end(tablet, rows["phone"]["id"].(string)); w.StatusCode != 200 || len(w.Cookies()) != 0 {
		t.Errorf("another's session: status %d, cookies %v", w.StatusCode, w.Cookies())
	}
	if got := g.bench.last(t); got.By != "tablet" || got.Change.(request.UnpairDevice).Device != "phone" {
		t.Errorf("on record: %+v", got)
	}
	if w := end(phone, "own"); w.StatusCode != 401 {
		t.Errorf("by a session that has ended: status %d", w.StatusCode)
	}
	for _, id := range []string{rows["phone"]["id"].(string), "nobody", "%00", "own%2f"} {
		if w := end(tablet, id); w.StatusCode != 404 {
			t.Errorf("session %q: status %d", id, w.StatusCode)
		}
	}
	w := end(tablet, "own")
	if w.StatusCode != 200 || len(w.Cookies()) != 1 || w.Cookies()[0].Value != "" || w.Cookies()[0].MaxAge != -1 {
		t.Errorf("one's own: status %d, cookies %v", w.StatusCode, w.Cookies())
	}
	if w := end(tablet, "own"); w.StatusCode != 401 {
		t.Errorf("after one's own has ended: status %d", w.StatusCode)
	}
}

// TestPairingNeedsNoJournal: with a card that cannot be written, a tablet can still be
// let in, to close and to acknowledge.
func TestPairingNeedsNoJournal(t *testing.T) {
	g := newGuarded(t)
	do := g.bench.do
	g.bench.do = func(context.Context, request.Request) (request.Reply, error) {
		return request.Reply{}, request.Refuse(request.Unavailable, "the journal cannot write", "no space left")
	}
	c := g.pair("tablet")
	g.bench.do = do
	r := remote("POST", goodPath, "")
	r.AddCookie(c)
	if w := answerTo(g, r); w.Code != 200 {
		t.Errorf("status %d", w.Code)
	}
}

// TestWithoutAPIN lists nothing, and says that there is none.
func TestWithoutAPIN(t *testing.T) {
	server := newServer(t, newStand())
	v := object(t, answerTo(server.Handler(), fromHere("GET", "/api/v1/sessions", "")))
	if v["pin_set"] != false || len(v["sessions"].([]any)) != 0 {
		t.Errorf("list %v", v)
	}
	p := isProblem(t, answerTo(server.Handler(), remote("POST", "/api/v1/sessions/own/unpair", "")), http.StatusUnauthorized)
	if p["type"] != "urn:potlifed:no-pin" {
		t.Errorf("problem %v", p)
	}
}
