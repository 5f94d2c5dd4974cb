package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/png"
	"net"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/words"
)

// TestManifest: the pages name it, and it names icons that are served, in the sizes that it says.
func TestManifest(t *testing.T) {
	r := get(t, "GET", manifestPath)
	var m manifest
	if kind := r.Header.Get("Content-Type"); kind != "application/manifest+json" || json.Unmarshal([]byte(read(t, r.Body)), &m) != nil {
		t.Fatalf("it is sent as %s", kind)
	}
	if m.Display != "fullscreen" || m.StartURL != "/" || m.Scope != "/" || m.Description == "" {
		t.Errorf("%+v", m)
	}
	sizes := map[string]bool{}
	for _, i := range m.Icons {
		r := get(t, "GET", i.Src)
		if r.StatusCode != 200 || r.Header.Get("Content-Type") != i.Type {
			t.Errorf("%s: %d, %s", i.Src, r.StatusCode, r.Header.Get("Content-Type"))
		}
		if i.Type != "image/png" {
			continue
		}
		c, err := png.DecodeConfig(r.Body)
		if size := fmt.Sprintf("%dx%d", c.Width, c.Height); err != nil || size != i.Sizes {
			t.Errorf("%s is %s, not %s (%v)", i.Src, size, i.Sizes, err)
		}
		sizes[i.Sizes+" "+i.Purpose] = true
	}
	for _, needed := range []string{"192x192 any", "512x512 any", "512x512 maskable"} {
		if !sizes[needed] {
			t.Errorf("there is no icon of %s", needed)
		}
	}
	for at, body := range documentsHTML(t) {
		if at != offlinePath && at != manifestPath && at != workerPath && !strings.Contains(body, `rel="manifest" href="`+manifestPath+`"`) {
			t.Errorf("%s does not name the manifest", at)
		}
	}
}

// TestWorkerChangesWithItsShell: another text on the page that it keeps makes another worker, which the
// browser then installs again; the same program makes the same one.
func TestWorkerChangesWithItsShell(t *testing.T) {
	worker := func(p *Pages) string { return string(p.site.pages[workerPath].plain()) }
	if worker(inEnglish()) != worker(put(inEnglish().site.locale)) {
		t.Error("two builds of one program have two workers")
	}
	if worker(inEnglish()) == worker(put(words.Locale{Language: words.Pseudo(words.English())})) {
		t.Error("another text on its page leaves the worker as it was")
	}
	if body := worker(inEnglish()); strings.Contains(body, "VERSION") || strings.Contains(body, "SHELL") {
		t.Errorf("its list is missing:\n%s", body)
	}
	for _, kept := range inEnglish().site.shell {
		if r := get(t, "GET", kept); r.StatusCode != 200 {
			t.Errorf("it keeps %s: %d", kept, r.StatusCode)
		}
	}
}

// serveAt serves at an address, which may end in port 0, and returns the address and an end that also
// cuts the connections.
func serveAt(t *testing.T, address string, handler http.Handler) (at string, end func()) {
	t.Helper()
	l, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{Handler: handler}
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = server.Serve(l) // until it is closed
	}()
	return l.Addr().String(), func() {
		_ = server.Close()
		<-done
	}
}

// landsOn waits until the page has given way to one that has what the selector finds. While it does,
// a script cannot be run.
func (b *browser) landsOn(selector string) {
	b.t.Helper()
	for late := time.Now().Add(waitAtMost); time.Now().Before(late); {
		there, err := chromedp.Run(b, chromedp.Poll[bool](fmt.Sprintf("document.querySelector(%q) !== null", selector), chromedp.WithPollingTimeout(time.Second), chromedp.WithPollingInterval(50*time.Millisecond)))
		if err == nil && there {
			return
		}
	}
	b.t.Fatalf("no page with %s came", selector)
}

// Where the bench cannot be reached, a link leads to a page of our own, which shows no figure and gives
// way by itself once the bench answers. What the browser keeps is that page and nothing else.
func TestBenchOutOfReach(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 1280, 800)
	b.expect("ERR_")
	b.expect("503")
	handler := f.Config.Handler
	address, end := serveAt(t, "127.0.0.1:0", handler)
	b.run(chromedp.Navigate("http://" + address + "/presses"))
	b.sees("#contact", "In contact with the bench")
	b.eventually("the worker is there", `navigator.serviceWorker.getRegistration().then((r) => r?.active?.state === "activated" && navigator.serviceWorker.controller !== null)`)
	b.sees(".board-row", "min") // figures are shown

	kept := eval[[]string](b, `caches.keys().then((names) => Promise.all(names.map((n) => caches.open(n).then((c) => c.keys())))).then((all) => all.flat().map((r) => new URL(r.url).pathname))`)
	want := slices.Clone(inEnglish().site.shell)
	slices.Sort(kept)
	slices.Sort(want)
	if !slices.Equal(kept, want) {
		t.Errorf("the browser keeps %v, want %v", kept, want)
	}
	for _, path := range kept {
		if strings.HasPrefix(path, "/api/") || path == "/presses" || path == "/" {
			t.Errorf("the browser keeps %s", path)
		}
	}

	f.cut()
	end()
	b.run(chromedp.Navigate("http://" + address + "/devices"))
	b.sees("main", "The bench cannot be reached")
	b.sees("main", "The lamps may be wrong too")
	if shown := eval[string](b, "document.body.innerText"); strings.ContainsAny(shown, "0123456789") {
		t.Errorf("a figure is shown:\n%s", shown)
	}
	if grounds := eval[string](b, `getComputedStyle(document.querySelector(".offline-head")).fontSize`); grounds == "16px" {
		t.Error("its style was not kept")
	}
	b.keepsPicture("offline")

	f.mu.Lock()
	f.silent = false
	f.mu.Unlock()
	_, end = serveAt(t, address, handler)
	t.Cleanup(func() {
		f.end()
		end()
	})
	b.landsOn("#verdict")
	b.sees("#verdict", "The readings can be trusted")
	if at := eval[string](b, "location.pathname"); at != "/devices" {
		t.Errorf("it goes on at %s", at)
	}
}

// TestOfflinePageLeadsOn: who opens that page itself while the bench answers is led on.
func TestOfflinePageLeadsOn(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 390, 844)
	b.run(chromedp.Navigate(f.URL + offlinePath))
	b.landsOn("#contact")
	b.sees("#contact", "In contact with the bench")
}

// TestNothingOfTheAppIsLarge: a phone loads the icons, and the worker is asked for with each page.
func TestNothingOfTheAppIsLarge(t *testing.T) {
	for _, i := range icons {
		if n := len(inEnglish().site.assets.served[inEnglish().site.assets.paths[i.file]].plain()); n > 16<<10 {
			t.Errorf("%s has %d bytes", i.file, n)
		}
	}
	if n := len(inEnglish().site.pages[workerPath].packed); n > 4<<10 || bytes.Contains(inEnglish().site.pages[workerPath].plain(), []byte("/api/")) {
		t.Errorf("the worker has %d bytes, or speaks of the API", n)
	}
}
