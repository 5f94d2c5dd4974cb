package page

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// mostShift is how much a page may move while it loads: "good" is below 0.1
// (web.dev/articles/cls).
const mostShift = 0.1

// onEachDocument runs a script at the start of each document that is opened from now on.
func (b *browser) onEachDocument(script string) {
	b.t.Helper()
	b.run(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
		return err
	}))
}

// hold keeps back what is answered below a path until release is called, as a slow network does.
func (f *fakeBench) hold(below string) (release func()) {
	gate := make(chan struct{})
	f.mu.Lock()
	defer f.mu.Unlock()
	f.held, f.below = gate, below
	return func() {
		f.mu.Lock()
		defer f.mu.Unlock()
		if f.held == gate {
			close(gate)
			f.held = nil
		}
	}
}

// gated waits until what is asked for is not held back.
func (f *fakeBench) gated(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		f.mu.Lock()
		held, below := f.held, f.below
		f.mu.Unlock()
		if held != nil && strings.HasPrefix(r.URL.Path, below) {
			select {
			case <-held:
			case <-r.Context().Done():
				return
			}
		}
		next.ServeHTTP(w, r)
	})
}

// shift is what the browser says of a movement: how much, and of what.
type shift struct {
	Value float64
	Of    []string
}

const watchShifts = `(() => {
	window.shifts = [];
	const box = (r) => [r.x, r.y, r.width, r.height].map(Math.round).join(" ");
	new PerformanceObserver((list) => list.getEntries().forEach((e) => window.shifts.push({
		Value: e.value,
		Of: e.sources.map((s) => (s.node?.nodeName ?? "?") + "." + (s.node?.className ?? "") + "#" + (s.node?.id ?? "") + ": " + box(s.previousRect) + " to " + box(s.currentRect)),
	}))).observe({ type: "layout-shift", buffered: true });
})()`

// TestPagesStayStillWhileTheyLoad: what has been painted before the bench has answered moves
// little when it has, however much there is to show.
func TestPagesStayStillWhileTheyLoad(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 1280, 800)
	b.onEachDocument(watchShifts)
	for _, path := range append(pagePaths(), "/batches/0611-2") {
		for _, scene := range []string{"pouring", "idle", "troubled", "plant", "empty"} {
			if !shows(path, scene) {
				continue
			}
			for _, s := range []size{wide, phone} {
				name := fmt.Sprintf("%s %s %dx%d", path, scene, s.width, s.height)
				now := time.Now()
				rows := cansShop(now)
				scenes[scene](rows, now)
				if scene == "empty" {
					rows["batches/0611-2/history"] = cansShop(now)["batches/0611-2/history"]
				}
				f := newFakeBench(t, rows)
				f.recipe = coarseRecipe()
				release := f.hold("/api/")
				b.stopsTimeAt(f.made)
				b.run(chromedp.EmulateViewport(s.width, s.height), chromedp.Navigate(f.URL+path))
				b.eventually(name+" is painted", `performance.getEntriesByName("first-contentful-paint").length > 0`)
				release()
				b.sees("#contact", "In contact with the bench")
				b.drawn(path)
				b.stayedStill(name)
			}
		}
	}
}

// TestWallAndHelpStayStill: nor does the wall, whose letters get their size from what it shows, nor a page that asks the
// bench for nothing.
func TestWallAndHelpStayStill(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 1920, 1080)
	b.onEachDocument(watchShifts)
	for _, presses := range []int{1, 3, 8, 12} {
		f := newFakeBench(t, wallShop(time.Now(), presses))
		release := f.hold("/api/")
		b.stopsTimeAt(f.made)
		b.run(chromedp.Navigate(f.URL + wallPage))
		b.eventually("it is painted", `performance.getEntriesByName("first-contentful-paint").length > 0`)
		release()
		b.drawn(wallPage)
		b.stayedStill(fmt.Sprintf("the wall of %d presses", presses))
	}
	b.expect("503")
	for path, shown := range map[string]string{helpPage.At: "#help", offlinePath: ".offline"} {
		f := newFakeBench(t, shop(time.Now()))
		f.deaf = true
		b.run(chromedp.Navigate(f.URL + path))
		b.eventually("drawn", fmt.Sprintf("document.querySelector(%q) !== null", shown))
		b.stayedStill(path)
	}
}

// stayedStill fails where what was painted has moved since the page was opened.
func (b *browser) stayedStill(name string) {
	b.t.Helper()
	b.eventually(name+" is drawn", twoFrames)
	var sum float64
	var of []string
	for _, one := range eval[[]shift](b, "window.shifts") {
		sum += one.Value
		of = append(of, fmt.Sprintf("%.4f: %s", one.Value, strings.Join(one.Of, "; ")))
	}
	b.t.Logf("%s: %.4f", name, sum)
	if sum >= mostShift {
		b.t.Errorf("%s: the page moves by %.3f, want less than %v:\n%s", name, sum, mostShift, strings.Join(of, "\n"))
	}
}

const twoFrames = `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))`
