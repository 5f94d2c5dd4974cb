package page

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"potlifed/daemon/peers"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is a page in a headless Chromium, with what it complained about.
type browser struct {
	context.Context
	t *testing.T

	clock page.ScriptIdentifier // the script that stops the page's clocks

	mu       sync.Mutex
	faults   []string
	expected map[string]bool // complaints that the test itself provokes; true once met
	heard    chan struct{}   // closed, and made again, with each of these
}

// shared is the one Chromium of all tests, and how it is ended. To start one takes longer
// than most tests.
var shared struct {
	sync.Once
	context.Context
	err error
	end func()
}

func TestMain(m *testing.M) {
	code := m.Run()
	if shared.end != nil {
		shared.end()
	}
	os.Exit(code)
}

// startChromium starts the given program with a profile of its own.
func startChromium(program string) {
	profile, err := os.MkdirTemp("", "chromium")
	if err != nil {
		shared.err = err
		return
	}
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(program), chromedp.UserDataDir(profile)}
	for _, flag := range []string{
		"headless", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking",
		"disable-component-update", "disable-sync", "disable-dev-shm-usage", "hide-scrollbars",
		"in-process-gpu", "disable-extensions", "disable-default-apps", "disable-breakpad", "mute-audio",
	} {
		options = append(options, chromedp.Flag(flag, true))
	}
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, end := chromedp.NewContext(allocator)
	shared.Context, shared.err = ctx, chromedp.Do(ctx)
	shared.end = func() {
		if err := chromedp.Cancel(ctx); err != nil {
			fmt.Fprintf(os.Stderr, "closing chromium: %v\n", err)
		}
		end()
		stop()
		if err := os.RemoveAll(profile); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}
}

// openBrowser opens a window of Chromium that shares nothing with those of other tests, or
// skips the test where there is none.
func openBrowser(t *testing.T, width, height int) *browser {
	t.Helper()
	if testing.Short() {
		t.Skip("a real browser")
	}
	program := peers.Chromium(t)
	shared.Do(func() { startChromium(program) })
	if shared.err != nil {
		t.Fatalf("chromium does not start: %v", shared.err)
	}
	b := &browser{t: t, expected: map[string]bool{}, heard: make(chan struct{})}
	ctx, end := chromedp.NewContext(shared.Context, chromedp.WithNewBrowserContext(), chromedp.WithListener(b.listen))
	b.Context = ctx
	t.Cleanup(func() {
		if err := chromedp.Cancel(ctx); err != nil {
			t.Logf("closing the window: %v", err)
		}
		end()
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, fault := range b.faults {
			t.Errorf("the page complains: %s", fault)
		}
	})
	b.run(chromedp.EmulateViewport(int64(width), int64(height))) // starts it, with its console followed
	return b
}

// listen notes what the browser's console says: errors of scripts, refused loads, breaches
// of the content policy.
func (b *browser) listen(event any) {
	var fault string
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		fault = e.ExceptionDetails.Text
		if e.ExceptionDetails.Exception != nil {
			fault += " " + e.ExceptionDetails.Exception.Description
		}
	case *runtime.EventConsoleAPICalled:
		if e.Type != runtime.ConsoleAPICalledTypeError && e.Type != runtime.ConsoleAPICalledTypeWarning {
			return
		}
		fault = fmt.Sprintf("console %s", e.Type)
		for _, arg := range e.Args {
			fault += " " + string(arg.Value) + arg.Description
		}
	case *log.EventEntryAdded:
		if e.Entry.Level != log.EntryLevelError && e.Entry.Level != log.EntryLevelWarning {
			return
		}
		fault = e.Entry.Text + " " + e.Entry.URL
	default:
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for known := range b.expected {
		if strings.Contains(fault, known) {
			b.expected[known] = true
			close(b.heard)
			b.heard = make(chan struct{})
			return
		}
	}
	b.faults = append(b.faults, fault)
}

// expect lets complaints with the given text pass.
func (b *browser) expect(text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.expected[text] = false
}

// meets waits for a complaint with the expected text.
func (b *browser) meets(text string) {
	b.t.Helper()
	late := time.After(waitAtMost)
	for {
		b.mu.Lock()
		met, heard := b.expected[text], b.heard
		b.mu.Unlock()
		if met {
			return
		}
		select {
		case <-heard:
		case <-late:
			b.t.Fatalf("the browser never complained of %q", text)
		}
	}
}

func (b *browser) run(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// eval runs a script and decodes what it, or the promise it returns, comes to.
func eval[T any](b *browser, script string) T {
	b.t.Helper()
	v, err := chromedp.Run(b, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%v\nin %s", err, script)
	}
	return v
}

// waitAtMost bounds every wait for a page. A page that works is never that slow, however busy the
// machine is.
const waitAtMost = 90 * time.Second

// eventually waits until a script is true.
func (b *browser) eventually(what, script string) {
	b.t.Helper()
	poll := chromedp.Poll[chromedp.Void](script, chromedp.WithPollingTimeout(waitAtMost), chromedp.WithPollingInterval(50*time.Millisecond))
	err := chromedp.Do(b, poll)
	for end := time.Now().Add(waitAtMost); peers.LeftPage(err) && time.Now().Before(end); {
		err = chromedp.Do(b, poll)
	}
	if err != nil {
		b.t.Fatalf("%s: %v\nthe page says:\n%s", what, err, eval[string](b, "document.body.innerText"))
	}
}

// sees waits until the text can be read within the selected elements.
func (b *browser) sees(selector, text string) {
	b.t.Helper()
	s, _ := json.Marshal(selector)
	w, _ := json.Marshal(text)
	b.eventually(fmt.Sprintf("%q in %s", text, selector),
		fmt.Sprintf(`[...document.querySelectorAll(%s)].some((e) => e.checkVisibility() && e.innerText.replaceAll("\u00a0", " ").includes(%s))`, s, w))
}

// press presses the visible button with the given words.
func (b *browser) press(words string) {
	b.t.Helper()
	w, _ := json.Marshal(words)
	find := fmt.Sprintf(`[...document.querySelectorAll("dialog button, button")].filter((b) => b.checkVisibility() && b.innerText.trim() === %s && (b.closest("dialog") || !document.querySelector("dialog[open]")))[0]`, w)
	b.eventually("button "+words, find+" !== undefined")
	b.run(chromedp.Evaluate[chromedp.Void](find + ".click()"))
}

// click waits for what a selector finds, and clicks it.
func (b *browser) click(selector string) {
	b.t.Helper()
	find := fmt.Sprintf("document.querySelector(%q)", selector)
	b.eventually(selector, find+" !== null")
	b.run(chromedp.Evaluate[chromedp.Void](find + ".click()"))
}

// open shows the page of a bench and waits until it follows the stream.
func (b *browser) open(f *fakeBench) {
	b.t.Helper()
	b.openAt(f, "/")
}

// openAt shows one of the pages, on which it is the time at which the bench was made, and waits
// until it follows the stream.
func (b *browser) openAt(f *fakeBench, path string) {
	b.t.Helper()
	b.stopsTimeAt(f.made)
	b.run(chromedp.Navigate(f.URL + path))
	b.eventually("contact", `document.body.dataset.contact === "live"`)
	f.until(b.t, "the stream", func() bool { return len(f.readers) > 0 })
}

// stopsTimeAt stops the clocks of the pages that are opened from now on: what a test reads of ages
// and countdowns does not depend on how fast the machine is. skip sets them ahead.
func (b *browser) stopsTimeAt(now time.Time) {
	b.t.Helper()
	b.run(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		if b.clock != "" {
			if _, err := cdp.Call(ctx, target, page.RemoveScriptToEvaluateOnNewDocument, page.RemoveScriptToEvaluateOnNewDocumentParams{Identifier: b.clock}); err != nil {
				return err
			}
		}
		added, err := cdp.Call(ctx, target, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: fmt.Sprintf(stoppedClocks, now.UnixMilli())})
		if err == nil {
			b.clock = added.Identifier
		}
		return err
	}))
}

// stoppedClocks: of two readings the later one is larger, as of clocks that go.
const stoppedClocks = `(() => {
	const real = performance.now();
	let ahead = 0;
	let read = 0;
	const passed = () => ahead + ++read / 1e4;
	performance.now = () => real + passed();
	Date.now = () => Math.floor(%d + passed());
	window.skip = (ms) => (ahead += ms);
})()`

// skip sets the clocks of the page ahead.
func (b *browser) skip(by time.Duration) {
	b.t.Helper()
	b.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf("skip(%d)", by.Milliseconds())))
}
