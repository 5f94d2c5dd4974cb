package web

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/access"
	"potlifed/daemon/actor"
	"potlifed/daemon/request"
)

const shopPIN = "902817"

// guarded is a server of a shop with a PIN.
type guarded struct {
	t     *testing.T
	bench *stand
	http.Handler
	server *Server
	store  *access.Store // as another process has it
	dir    string
	now    time.Time
}

func newGuarded(t *testing.T) *guarded {
	t.Helper()
	g := &guarded{t: t, bench: newStand(), dir: t.TempDir(), now: at}
	g.store = access.Open(g.dir)
	if err := g.store.SetPIN(shopPIN); err != nil {
		t.Fatal(err)
	}
	g.server = newServer(t, g.bench)
	g.server.settings.Access = access.Open(g.dir)
	g.server.now = func() time.Time { return g.now }
	g.Handler = g.server.Handler()
	return g
}

// asked are the changes, other than pairings, that reached the bench.
func (g *guarded) asked() int {
	g.bench.mu.Lock()
	defer g.bench.mu.Unlock()
	n := 0
	for _, r := range g.bench.asked {
		switch r.Change.(type) {
		case request.PairDevice, request.UnpairDevice:
		default:
			n++
		}
	}
	return n
}

// pair pairs a device from another machine and returns its cookie.
func (g *guarded) pair(device string) *http.Cookie {
	g.t.Helper()
	r := remote("POST", "/api/v1/session", `{"pin":"`+shopPIN+`","device":"`+device+`"}`)
	w := answerTo(g, r)
	if w.Code != http.StatusOK {
		g.t.Fatalf("pairing: status %d: %s", w.Code, w.Body)
	}
	cookies := w.Result().Cookies()
	if len(cookies) != 1 {
		g.t.Fatalf("cookies %v", cookies)
	}
	return cookies[0]
}

func (g *guarded) token(name string, may ...request.Right) string {
	g.t.Helper()
	secret, err := g.store.NewToken(name, may, at)
	if err != nil {
		g.t.Fatal(err)
	}
	return secret
}

// remote is a request from another machine.
func remote(method, path, body string) *http.Request {
	r := fromHere(method, path, body)
	r.RemoteAddr = "192.168.1.9:5000"
	return r
}

const goodPath = "/api/v1/batches/0612-1/good"

func TestAPairedDeviceMayChangeEverything(t *testing.T) {
	g := newGuarded(t)
	c := g.pair("tablet")
	if c.Name != cookieName || !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Secure || c.Domain != "" ||
		c.MaxAge != 30*24*3600 || len(c.Value) != 43 {
		t.Errorf("cookie %+v", c)
	}
	if got := g.bench.last(t); got.By != "tablet" || got.Change.(request.PairDevice).Device != "tablet" || got.Change.(request.PairDevice).Session == "" {
		t.Errorf("on record: %+v", got)
	}
	for _, path := range []string{goodPath, "/api/v1/alarms/sensor-stale/floor-air/acknowledge", "/api/v1/sensors/floor-air/in-service", "/api/v1/inks/dial-satin/revoke-learned"} {
		r := remote("POST", path, "")
		r.AddCookie(c)
		if w := answerTo(g, r); w.Code != http.StatusOK {
			t.Errorf("%s: status %d: %s", path, w.Code, w.Body)
		}
		if got := g.bench.last(t); got.By != "tablet" {
			t.Errorf("%s by %q", path, got.By)
		}
	}
}

// TestAPINShutsTheBenchesOwnComputerToo, unless it is paired.
func TestAPINShutsTheBenchesOwnComputerToo(t *testing.T) {
	g := newGuarded(t)
	p := isProblem(t, answerTo(g, fromHere("POST", goodPath, "")), http.StatusUnauthorized)
	if p["type"] != "urn:potlifed:pin-needed" || !strings.Contains(p["detail"].(string), "pair") {
		t.Errorf("problem %v", p)
	}
	if g.asked() != 0 {
		t.Error("the bench was asked")
	}
	if w := answerTo(g, fromHere("GET", "/api/v1/air", "")); w.Code != http.StatusOK {
		t.Errorf("reading: status %d", w.Code)
	}
}

func TestWhatIsRefused(t *testing.T) {
	g := newGuarded(t)
	c, token := g.pair("tablet"), g.token("camera-1", request.RightReport)
	for name, test := range map[string]struct {
		change func(r *http.Request)
		status int
		typ    string
	}{
		"nothing":             {func(*http.Request) {}, 401, "pin-needed"},
		"another cookie":      {func(r *http.Request) { r.AddCookie(&http.Cookie{Name: "session", Value: c.Value}) }, 401, "pin-needed"},
		"cookie cut short":    {func(r *http.Request) { r.AddCookie(&http.Cookie{Name: cookieName, Value: c.Value[1:]}) }, 401, "pin-needed"},
		"empty cookie":        {func(r *http.Request) { r.Header.Set("Cookie", cookieName+"=") }, 401, "pin-needed"},
		"bytes in the cookie": {func(r *http.Request) { r.Header.Set("Cookie", cookieName+"=\x00\xff\x01; "+cookieName) }, 401, "pin-needed"},
		"a long cookie":       {func(r *http.Request) { r.Header.Set("Cookie", cookieName+"="+strings.Repeat("x", 20000)) }, 401, "pin-needed"},
		"many cookies": {func(r *http.Request) {
			r.Header.Set("Cookie", strings.Repeat(cookieName+"=x; ", 1000)+cookieName+"="+c.Value)
		}, 401, "pin-needed"},
		"a token as cookie":     {func(r *http.Request) { r.AddCookie(&http.Cookie{Name: cookieName, Value: token}) }, 401, "pin-needed"},
		"a session as token":    {func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+c.Value) }, 401, "token"},
		"no token":              {func(r *http.Request) { r.Header.Set("Authorization", "Bearer") }, 401, "token"},
		"wrong token":           {func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+token+"x") }, 401, "token"},
		"wrong token and paird": {func(r *http.Request) { r.Header.Set("Authorization", "Bearer x"); r.AddCookie(c) }, 401, "token"},
		"two tokens": {func(r *http.Request) {
			r.Header["Authorization"] = []string{"Bearer " + token, "Bearer " + token}
		}, 401, "token"},
		"basic alone":         {func(r *http.Request) { r.SetBasicAuth("camera-1", token) }, 401, "pin-needed"},
		"token without right": {func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+token) }, 403, "right"},
		"forwarded local":     {func(r *http.Request) { r.RemoteAddr = "127.0.0.1:1"; r.Header.Set("X-Forwarded-For", "127.0.0.1") }, 401, "pin-needed"},
		"cross-site":          {func(r *http.Request) { r.AddCookie(c); r.Header.Set("Sec-Fetch-Site", "cross-site") }, 403, ""},
		"same-site":           {func(r *http.Request) { r.AddCookie(c); r.Header.Set("Sec-Fetch-Site", "same-site") }, 403, ""},
		"another origin":      {func(r *http.Request) { r.AddCookie(c); r.Header.Set("Origin", "http://attacker.example") }, 403, ""},
		"another site's name": {func(r *http.Request) { r.AddCookie(c); r.Host = "attacker.example" }, 421, ""},
	} {
		r := remote("POST", goodPath, "")
		test.change(r)
		w := answerTo(g, r)
		p := isProblem(t, w, test.status)
		if typ, _ := p["type"].(string); strings.TrimPrefix(typ, "urn:potlifed:") != test.typ {
			t.Errorf("%s: problem %v", name, p)
		}
		if challenged := strings.HasPrefix(w.Header().Get("Www-Authenticate"), "Bearer "); challenged != (test.typ != "") {
			t.Errorf("%s: WWW-Authenticate %q", name, w.Header().Get("Www-Authenticate"))
		}
	}
	if g.asked() != 0 {
		t.Errorf("the bench was asked %d times", g.asked())
	}
}

// TestRights walks over every change there is with a token of each right.
func TestRights(t *testing.T) {
	g := newGuarded(t)
	tokens := map[request.Right]string{}
	for _, right := range request.Rights() {
		tokens[right] = g.token("only-"+string(right), right)
	}
	for path, needs := range map[string]request.Right{
		"presses/press-1/prints": request.RightReport, "batches": request.RightMix, "batches/0612-1/load": request.RightMix, "batches/0612-1/close": request.RightMix,
		"alarms/sensor-stale/floor-air/acknowledge": request.RightAcknowledge, "alarms/sensor-stale/floor-air/shelve": request.RightAcknowledge,
		"sensors/floor-air/out-of-service": request.RightConfigure, "inks/dial-satin/accept-learned": request.RightConfigure, "inks/dial-satin/revoke-learned": request.RightConfigure,
		"sessions/0123456789ab/unpair": request.RightConfigure,
	} {
		body := map[string]string{
			"presses/press-1/prints": `{"add":1}`, "batches": `{"ink":"dial-satin"}`, "batches/0612-1/load": `{"press":"press-1"}`,
			"batches/0612-1/close": `{"outcome":"used-up"}`, "alarms/sensor-stale/floor-air/shelve": `{"until":"2026-06-12T10:30:00Z"}`,
			"sensors/floor-air/out-of-service": `{"until":"2026-06-13T09:30:00Z","reason":"test"}`,
		}[path]
		for right, token := range tokens {
			r := remote("POST", "/api/v1/"+path, body)
			r.Header.Set("Authorization", "bearer "+token)
			w := answerTo(g, r)
			if allowed := w.Code != http.StatusForbidden; allowed != (right == needs) {
				t.Errorf("%s with %s: status %d: %s", path, right, w.Code, w.Body)
			}
			if right == needs && w.Code < 300 && g.bench.last(t).By != actor.Name("only-"+string(right)) {
				t.Errorf("%s by %q", path, g.bench.last(t).By)
			}
		}
	}
	r := remote("POST", goodPath, "")
	r.Header.Set("Authorization", "Bearer "+tokens[request.RightReport])
	w := answerTo(g, r)
	if p := isProblem(t, w, 403); !strings.Contains(p["detail"].(string), "may not good") || !strings.Contains(p["detail"].(string), "--may mix") {
		t.Errorf("detail %v", p["detail"])
	}
	if got := w.Header().Get("Www-Authenticate"); !strings.Contains(got, `error="insufficient_scope", scope="mix"`) {
		t.Errorf("WWW-Authenticate %q", got)
	}
}

// TestATokenDecidesOnLoopbackToo: while no PIN is set a token is not needed there, but
// one that is sent counts.
func TestATokenDecidesOnLoopbackToo(t *testing.T) {
	s := newStand()
	server := newServer(t, s)
	secret, err := server.settings.Access.NewToken("camera-1", []request.Right{request.RightReport}, at)
	if err != nil {
		t.Fatal(err)
	}
	for header, status := range map[string]int{"": 200, "Bearer " + secret: 403, "Bearer gone": 401, "Basic eDp5": 200} {
		r := fromHere("POST", goodPath, "")
		if header != "" {
			r.Header.Set("Authorization", header)
		}
		if w := answerTo(server.Handler(), r); w.Code != status {
			t.Errorf("%q: status %d, want %d", header, w.Code, status)
		}
	}
	// Nor does a cookie of a session that has ended shut its own computer out.
	r := fromHere("POST", goodPath, "")
	r.AddCookie(&http.Cookie{Name: cookieName, Value: "gone"})
	if w := answerTo(server.Handler(), r); w.Code != 200 || s.last(t).By != "local" {
		t.Errorf("status %d by %q", w.Code, s.last(t).By)
	}
}

// TestAKeyIsItsCallersOwn: a caller who uses the Idempotency-Key of somebody else makes a new request, and is
// not given the other's answer.
func TestAKeyIsItsCallersOwn(t *testing.T) {
	g := newGuarded(t)
	secret, one, other := g.token("line-2", request.RightMix), g.pair("tablet"), g.pair("tablet")
	keys := map[string]string{}
	for name, change := range map[string]func(r *http.Request){
		"token": func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+secret) },
		"one":   func(r *http.Request) { r.AddCookie(one) },
		"other": func(r *http.Request) { r.AddCookie(other) },
	} {
		for range 2 {
			r := remote("POST", goodPath, "")
			r.Header.Set("Idempotency-Key", "k-1")
			change(r)
			if w := answerTo(g, r); w.Code != http.StatusOK {
				t.Fatalf("%s: status %d: %s", name, w.Code, w.Body)
			}
			key := g.bench.last(t).Key
			if of, taken := keys[key]; taken && of != name {
				t.Errorf("%s has the key of %s: %q", name, of, key)
			}
			keys[key] = name
		}
	}
	if len(keys) != 3 {
		t.Errorf("three callers' keys, each sent twice, are %v", keys)
	}
}

// TestRevokedAtOnce: no matter by whom and where, and also what was only running out.
func TestRevokedAtOnce(t *testing.T) {
	g := newGuarded(t)
	secret, c := g.token("line-2", request.RightMix), g.pair("tablet")
	with := func(change func(r *http.Request)) int {
		r := remote("POST", goodPath, "")
		change(r)
		return answerTo(g, r).Code
	}
	token := func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+secret) }
	cookie := func(c *http.Cookie) func(r *http.Request) { return func(r *http.Request) { r.AddCookie(c) } }
	if with(token) != 200 || with(cookie(c)) != 200 {
		t.Fatal("what is valid is refused")
	}
	if _, err := g.store.RevokeToken("line-2"); err != nil { // as the command does
		t.Fatal(err)
	}
	if got := with(token); got != 401 {
		t.Errorf("a revoked token: status %d", got)
	}
	if err := g.store.SetPIN("7531924"); err != nil {
		t.Fatal(err)
	}
	if got := with(cookie(c)); got != 401 {
		t.Errorf("a session after a new PIN: status %d", got)
	}
	if err := g.store.SetPIN(shopPIN); err != nil {
		t.Fatal(err)
	}
	c = g.pair("tablet")
	g.now = at.Add(30 * 24 * time.Hour)
	if got := with(cookie(c)); got != 401 {
		t.Errorf("a session after 30 days: status %d", got)
	}
}

// TestASpoiltFile: nobody gets in, and a person who tries is told why.
func TestASpoiltFile(t *testing.T) {
	g := newGuarded(t)
	c, secret := g.pair("tablet"), g.token("line-2", request.RightMix)
	if err := os.WriteFile(filepath.Join(g.dir, access.FileName), []byte("{torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, r := range map[string]*http.Request{
		"local": fromHere("POST", goodPath, ""), "paired": remote("POST", goodPath, ""), "token": remote("POST", goodPath, ""),
		"pairing": remote("POST", "/api/v1/session", `{"pin":"`+shopPIN+`"}`), "list": fromHere("GET", "/api/v1/sessions", ""),
	} {
		switch name {
		case "paired":
			r.AddCookie(c)
		case "token":
			r.Header.Set("Authorization", "Bearer "+secret)
		}
		p := isProblem(t, answerTo(g, r), http.StatusServiceUnavailable)
		if detail := p["detail"].(string); !strings.Contains(detail, access.FileName) || !strings.Contains(detail, "restore it") {
			t.Errorf("%s: %q does not say why and what to do", name, detail)
		}
	}
	if g.asked() != 0 {
		t.Error("the bench was asked")
	}
}

// TestADirectoryThatCannotBeWritten: who is in may go on, and a person who wants in is told
// why not.
func TestADirectoryThatCannotBeWritten(t *testing.T) {
	g := newGuarded(t)
	c := g.pair("tablet")
	if err := os.MkdirAll(filepath.Join(g.dir, "."+access.FileName+"-7.partial", "full"), 0o700); err != nil {
		t.Fatal(err)
	}
	w := answerTo(g, remote("POST", "/api/v1/session", `{"pin":"`+shopPIN+`"}`))
	if p := isProblem(t, w, http.StatusServiceUnavailable); !strings.Contains(p["detail"].(string), access.FileName) || len(w.Result().Cookies()) != 0 {
		t.Errorf("problem %v, cookies %v", p, w.Result().Cookies())
	}
	r := remote("POST", goodPath, "")
	r.AddCookie(c)
	if w := answerTo(g, r); w.Code != http.StatusOK {
		t.Errorf("paired before: status %d: %s", w.Code, w.Body)
	}
}

func TestPlaces(t *testing.T) {
	for from, want := range map[string]string{
		"127.0.0.1:5": access.Local, "[::1]:5": access.Local, "192.168.1.9:5": "192.168.1.9", "[::ffff:192.168.1.9]:5": "192.168.1.9",
		"[2001:db8:1:2:3:4:5:6]:5": "2001:db8:1:2::/64", "[fe80::7%eth0]:5": "fe80::/64", "@": "unknown", "": "unknown",
	} {
		r := fromHere("POST", "/", "")
		r.RemoteAddr = from
		if got := place(r); got != want {
			t.Errorf("%q is counted under %q, want %q", from, got, want)
		}
	}
	r := fromHere("POST", "/", "")
	r.Header.Set("X-Forwarded-For", "10.0.0.1")
	if got := place(r); got != "127.0.0.1" {
		t.Errorf("a proxy is counted under %q", got)
	}
}

// FuzzBearer: whatever is sent, what is taken for a secret is short and plain, and one
// word after the scheme.
func FuzzBearer(f *testing.F) {
	f.Add("Bearer abc", "")
	f.Add("bearer  abc ", "Basic eDp5")
	f.Add("Bearer a b", "Bearer c")
	f.Fuzz(func(t *testing.T, first, second string) {
		secret, given := bearer([]string{first, second})
		if !given && secret != "" || len(secret) > 200 || strings.ContainsAny(secret, " \t\r\n\x00\",;") {
			t.Errorf("%q, %v", secret, given)
		}
		if secret != "" && !strings.Contains(first+"\n"+second, secret) {
			t.Errorf("%q was never sent", secret)
		}
	})
}
