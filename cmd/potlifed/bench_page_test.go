package main

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"potlifed/daemon"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/peers"
	"potlifed/devices/simulate"
	"potlifed/model/air"
)

// chromium is the one browser of all tests of this package: to start one takes longer than
// most of them.
var chromium struct {
	sync.Once
	context.Context
	err   error
	close func()
}

// openChromium starts it, or skips the test where there is none.
func openChromium(t testing.TB) context.Context {
	t.Helper()
	path := peers.Chromium(t)
	chromium.Do(func() {
		profile, err := os.MkdirTemp("", "chromium")
		if err != nil {
			chromium.err = err
			return
		}
		options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(path), chromedp.UserDataDir(profile), chromedp.WindowSize(1280, 800)}
		for _, flag := range []string{
			"headless", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking",
			"disable-component-update", "disable-sync", "disable-dev-shm-usage",
		} {
			options = append(options, chromedp.Flag(flag, true))
		}
		allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
		ctx, end := chromedp.NewContext(allocator)
		chromium.Context, chromium.err = ctx, chromedp.Do(ctx)
		chromium.close = func() {
			_ = chromedp.Cancel(ctx)
			end()
			stop()
			_ = os.RemoveAll(profile)
		}
	})
	if chromium.err != nil {
		t.Fatalf("chromium does not start: %v", chromium.err)
	}
	return chromium.Context
}

func closeChromium() {
	if chromium.close != nil {
		chromium.close()
	}
}

// mixer is a person at the bench: they see a page, tap on it, and have their hands at the
// scale. Nothing but what is on the screen tells them how it goes.
type mixer struct {
	*hardware
	t       testing.TB
	page    context.Context
	url     string
	floor   *simulate.Room
	program *program   // nil where it runs in this process
	touched int        // buttons that were pressed with a finger
	lastAt  [2]float64 // where the last one was

	mu     sync.Mutex
	faults []string // what the browser's console complained about
}

// quickScale speaks often and comes to rest soon, so that a mix takes seconds.
var quickScale = simulate.ScaleOptions{DivisionG: 0.1, Every: 40 * time.Millisecond, Settle: 120 * time.Millisecond}

// newMixer puts a person before the page of a program that runs; skipped where a test
// should be short.
func newMixer(t testing.TB, scale simulate.ScaleOptions) *mixer {
	t.Helper()
	return newMixerWith(t, scale)
}

// newMixerWith is the same with some texts of the configuration replaced, in pairs.
func newMixerWith(t testing.TB, scale simulate.ScaleOptions, replaced ...string) *mixer {
	t.Helper()
	m := newFloor(t, scale)
	path := m.file(t)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(strings.NewReplacer(replaced...).Replace(string(text))), 0o600); err != nil {
		t.Fatal(err)
	}
	m.program = start(t, path)
	m.url = m.program.http
	m.looks()
	return m
}

// newMixerAt is the same with a clock of its own, and the program in this process.
func newMixerAt(t testing.TB, scale simulate.ScaleOptions, c clock.Clock) *mixer {
	t.Helper()
	m := newFloor(t, scale)
	shop, err := config.Read(m.file(t))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		ended <- daemon.Run(ctx, daemon.Options{
			Shop: shop, Clock: c, Log: slog.New(slog.DiscardHandler),
			Ready: func(a daemon.Addresses) { ready <- a.HTTP },
		})
	}()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	select {
	case address := <-ready:
		m.url = "http://" + address
	case <-time.After(patience):
		t.Fatal("the program does not start")
	}
	m.looks()
	return m
}

// newFloor has the hardware.
func newFloor(t testing.TB, scale simulate.ScaleOptions) *mixer {
	t.Helper()
	if testing.Short() {
		t.Skip("whole mixes in a browser take long")
	}
	openChromium(t)
	m := &mixer{t: t, hardware: newHardwareWith(t, scale)}
	var err error
	if m.floor, err = simulate.NewRoom(filepath.Join(m.dir, "floor"), air.State{TemperatureC: 26, HumidityPct: 80}); err != nil {
		t.Fatal(err)
	}
	return m
}

// looks opens a window of the browser on the bench's page. It is closed before the program
// ends, of which it would complain.
func (m *mixer) looks() {
	m.t.Helper()
	ctx, end := chromedp.NewContext(chromium.Context, chromedp.WithNewBrowserContext(), chromedp.WithListener(m.listen))
	m.page = ctx
	m.t.Cleanup(func() {
		_ = chromedp.Cancel(ctx)
		end()
		m.mu.Lock()
		defer m.mu.Unlock()
		for _, fault := range m.faults {
			m.t.Errorf("the page complains: %s", fault)
		}
	})
	m.run(chromedp.EmulateViewport(1280, 800))
	m.opens("/")
}

// file writes the configuration of a shop with two zones: the bench is dry, the floor is
// humid and warm.
func (m *mixer) file(t testing.TB) string {
	t.Helper()
	text := fmt.Sprintf(`bench: bench-1
data_dir: %q
http: {listen: "127.0.0.1:0"}
clock: assume
scales:
  - {id: scale-1, port: %q, division_g: 0.1, zone: bench, print_key: PRINT}
sensors:
  - {id: bench-air, zone: bench, path: %q, every: 1s, stale_after: 5m}
  - {id: floor-air, zone: floor, path: %q, every: 1s, stale_after: 5m}
presses:
  - {id: press-1, zone: bench, cup: cup-110}
  - {id: press-2, zone: floor, cup: cup-110}
cups:
  - {id: cup-110, ink_minimum_g: 85, fill_maximum_g: 150}
inks:
  - {id: dial-satin, hardener: hardener-a, hardener_ratio: "5:1", thinner_pct: {min: 6, max: 14, dark: 7, light: 9}, pot_life: {shortest: 4h30m, longest: 5h30m}, stir: 10m}
  - {id: dial-flat, hardener: hardener-a, hardener_ratio: "8:1", thinner_pct: {min: 6, max: 14, dark: 7, light: 9}, pot_life: {shortest: 9h, longest: 11h}, rest: 15m}
hardeners:
  - {id: hardener-a}
`, filepath.Join(m.dir, "data"), m.scale.Port(), m.room.Path(), m.floor.Path())
	path := filepath.Join(m.dir, "potlifed.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// listen notes errors of scripts, refused loads and breaches of the content policy. That the
// bench refused something the person did is no fault of the page.
func (m *mixer) listen(event any) {
	var fault string
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		fault = e.ExceptionDetails.Text
		if e.ExceptionDetails.Exception != nil {
			fault += " " + e.ExceptionDetails.Exception.Description
		}
	case *log.EventEntryAdded:
		if e.Entry.Level != log.EntryLevelError && e.Entry.Level != log.EntryLevelWarning ||
			strings.Contains(e.Entry.Text, "status of 409") || strings.Contains(e.Entry.Text, "status of 422") ||
			strings.HasSuffix(e.Entry.URL, "/readyz") && strings.Contains(e.Entry.Text, "status of 503") { // a clock that leaps leaves readings stale
			return
		}
		fault = e.Entry.Text + " " + e.Entry.URL
	default:
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.faults = append(m.faults, fault)
}

func (m *mixer) run(steps ...chromedp.Action[chromedp.Void]) {
	m.t.Helper()
	if err := chromedp.Do(m.page, steps...); err != nil {
		m.t.Fatal(err)
	}
}

func evaluate[T any](m *mixer, script string) T {
	m.t.Helper()
	v, err := chromedp.Run(m.page, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		m.t.Fatalf("%v\nin %s", err, script)
	}
	return v
}

// lastRequests are a page's last requests that have ended: when, for how long, with which status.
const lastRequests = `performance.getEntriesByType("resource").filter((e) => e.initiatorType === "fetch").slice(-8)
	.map((e) => [e.name, e.startTime.toFixed(), e.duration.toFixed() + " ms", e.responseStatus].join(" ")).join("\n") + "\nnow " + performance.now().toFixed()`

// waits waits until a script is true.
func (m *mixer) waits(what, script string) {
	m.t.Helper()
	poll := chromedp.Poll[chromedp.Void](script, chromedp.WithPollingTimeout(patience), chromedp.WithPollingInterval(50*time.Millisecond))
	err := chromedp.Do(m.page, poll)
	for end := time.Now().Add(patience); peers.LeftPage(err) && time.Now().Before(end); {
		err = chromedp.Do(m.page, poll)
	}
	if err != nil {
		m.t.Fatalf("%s: %v\nthe page says:\n%s\nits last requests:\n%s", what, err,
			evaluate[string](m, "document.body.innerText.replace(/\\n+/g, '\\n')"), evaluate[string](m, lastRequests))
	}
}

func (m *mixer) opens(path string) {
	m.t.Helper()
	m.run(chromedp.Navigate(m.url + path))
	m.sees("In contact with the bench")
}

// The words of a page as they are read, and its parts by what they are called: those of a
// dialog while one is open, as nothing else can be reached then.
const reading = `(() => {
	const words = (e) => e.innerText.replaceAll("\u00a0", " ").replace(/\s+/g, " ").trim();
	const top = () => document.querySelector("dialog[open]") ?? document.body;
	const shown = (selector) => [...top().querySelectorAll(selector)].filter((e) => e.checkVisibility({visibilityProperty: true}));
	const name = (e) => (e.getAttribute("aria-label") ?? (e.labels?.[0] ? words(e.labels[0]) : words(e))).replaceAll("\u00a0", " ");
	return {
		says: (text) => words(top()).includes(text),
		part: (called) => shown("[aria-label], [aria-labelledby]").find((e) => e.getAttribute("aria-label") === called),
		within: (called, text) => shown("[aria-label]").some((e) => e.getAttribute("aria-label") === called && words(e).includes(text)),
		button: (called) => shown("button, summary, a").find((e) => (name(e) === called || words(e) === called || words(e).startsWith(called + " ")) && !e.disabled),
		choice: (group, option) => shown("fieldset").filter((f) => words(f.querySelector("legend")) === group)
			.flatMap((f) => [...f.querySelectorAll("label, button")]).find((e) => words(e).startsWith(option)),
		field: (called) => shown("input, textarea, select").find((e) => name(e).startsWith(called)),
	};
})()`

func quoted(s string) string {
	q, _ := json.Marshal(s)
	return string(q)
}

// sees waits until all of the texts can be read.
func (m *mixer) sees(texts ...string) {
	m.t.Helper()
	for _, text := range texts {
		m.waits(fmt.Sprintf("nobody sees %q", text), fmt.Sprintf("%s.says(%s)", reading, quoted(text)))
	}
}

// seesIn waits until the texts can be read in the part of the page with the given name.
func (m *mixer) seesIn(part string, texts ...string) {
	m.t.Helper()
	for _, text := range texts {
		m.waits(fmt.Sprintf("nobody sees %q in %s", text, part), fmt.Sprintf("%s.within(%s, %s)", reading, quoted(part), quoted(text)))
	}
}

// seesNot fails when the text can be read now; what comes before it must have been waited for.
func (m *mixer) seesNot(text string) {
	m.t.Helper()
	if evaluate[bool](m, fmt.Sprintf("%s.says(%s)", reading, quoted(text))) {
		m.t.Fatalf("the page says %q", text)
	}
}

// misses waits until the text cannot be read any more.
func (m *mixer) misses(text string) {
	m.t.Helper()
	m.waits(fmt.Sprintf("%q stays", text), fmt.Sprintf("!%s.says(%s)", reading, quoted(text)))
}

// reads returns what the first group of the pattern matches on the page.
func (m *mixer) reads(pattern string) string {
	m.t.Helper()
	is := regexp.MustCompile(pattern)
	var found []string
	eventually(m.t, "text like "+pattern, func() (bool, any) {
		text := evaluate[string](m, `document.body.innerText.replaceAll("\u00a0", " ").replace(/\s+/g, " ")`)
		found = is.FindStringSubmatch(text)
		return found != nil, text
	})
	return found[1]
}

// taps presses a button by its name, once it is there; by the keyboard's way, which no glove
// delays.
func (m *mixer) taps(button string) {
	m.t.Helper()
	find := fmt.Sprintf("%s.button(%s)", reading, quoted(button))
	m.waits("no button "+button, find+" !== undefined")
	m.run(chromedp.Evaluate[chromedp.Void](find + ".click()"))
}

// touches presses a button with a finger. A second tap within half a second would be ignored,
// and a person takes that long to read on.
func (m *mixer) touches(button string) {
	m.t.Helper()
	find := fmt.Sprintf("%s.button(%s)", reading, quoted(button))
	m.waits("no button "+button, find+" !== undefined")
	m.waits("half a second between two taps", "performance.now() - (window.lastTouch ?? 0) > 700")
	at := evaluate[struct{ X, Y float64 }](m, fmt.Sprintf(`(() => {
		const e = %s;
		e.scrollIntoView({block: "center"});
		const r = e.getBoundingClientRect();
		return {X: r.left + r.width / 2, Y: r.top + r.height / 2};
	})()`, find))
	m.finger(at.X, at.Y)
	m.touched++
	// Only now: on a busy machine the touch itself may take longer than the half second.
	m.run(chromedp.Evaluate[chromedp.Void]("window.lastTouch = performance.now()"))
}

// finger taps at a place on the screen.
func (m *mixer) finger(x, y float64) {
	m.t.Helper()
	touch := func(kind input.DispatchTouchEventType, points ...*input.TouchPoint) chromedp.Action[chromedp.Void] {
		return chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(ctx, target, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: points})
			return err
		})
	}
	m.run(touch(input.DispatchTouchEventTypeTouchStart, &input.TouchPoint{X: x, Y: y}), touch(input.DispatchTouchEventTypeTouchEnd))
	m.lastAt = [2]float64{x, y}
}

// chooses picks an option of a group.
func (m *mixer) chooses(group, option string) {
	m.t.Helper()
	find := fmt.Sprintf("%s.choice(%s, %s)", reading, quoted(group), quoted(option))
	m.waits(fmt.Sprintf("no choice %q of %q", option, group), find+" !== undefined")
	m.run(chromedp.Evaluate[chromedp.Void](find + ".click()"))
}

// enters types into a field.
func (m *mixer) enters(field, text string) {
	m.t.Helper()
	find := fmt.Sprintf("%s.field(%s)", reading, quoted(field))
	m.waits("no field "+field, find+" !== undefined")
	m.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const e = %s;
		e.value = %s;
		e.dispatchEvent(new Event("input", {bubbles: true}));
		e.dispatchEvent(new Event("change", {bubbles: true}));
	})()`, find, quoted(text))))
}

// settles waits until the scale's figure on the page stands at so many grams and says that
// it has come to rest.
func (m *mixer) settles(grams float64) {
	m.t.Helper()
	m.seesIn("Scale", fmt.Sprintf("%.1f g settled", grams))
}

// pour pours so many grams by eye and lets the scale come to rest.
func (m *mixer) pours(grams float64) {
	m.t.Helper()
	m.pour(m.t, grams, 80)
	m.settles(m.scale.Grams())
}

// begins chooses dial-satin for press-1 and puts the cup on; the mix then waits for its ink.
func (m *mixer) begins() (id string) {
	m.t.Helper()
	return m.beginsFor("press-1")
}

func (m *mixer) beginsFor(press string) (id string) {
	m.t.Helper()
	m.chooses("Ink", "dial-satin")
	m.chooses("For", press)
	m.taps("Start this mix")
	id = m.reads(`Mix (\d{4}-\d+) · dial-satin · for ` + press)
	m.sees("Put an empty cup-110 on the scale")
	m.scale.Set(24)
	m.settles(24)
	// A cup of a known weight is taken without a tap.
	on := fmt.Sprintf("%s.button(%s)", reading, quoted("The cup is on"))
	m.waits("the cup", on+" !== undefined || "+reading+".says('Pour ink dial-satin')")
	m.run(chromedp.Evaluate[chromedp.Void](on + "?.click()"))
	m.sees("Pour ink dial-satin", "target 85.0 g")
	return id
}

// inks pours the ink of the recipe.
func (m *mixer) inks() {
	m.t.Helper()
	m.pours(85)
	m.taps("The ink is in")
	m.sees("Pour hardener-a", "target 17.0 g")
}

// hardens pours the hardener for it.
func (m *mixer) hardens() {
	m.t.Helper()
	m.pours(17)
	m.taps("The hardener is in")
	m.sees("Stir the hardener in")
}

// stirs tells that the hardener is stirred in.
func (m *mixer) stirs() {
	m.t.Helper()
	m.taps("It is stirred in")
	m.sees("Pour thinner")
}

// finishes goes on from the first stir to a cup on press-1.
func (m *mixer) finishes(thinner float64) {
	m.t.Helper()
	m.taps("It is stirred in")
	m.sees("Pour thinner", fmt.Sprintf("target %.1f g", thinner))
	m.pours(thinner)
	m.taps("The thinner is in")
	m.sees("Stir the thinner in")
	m.taps("It is stirred in")
	m.sees("Put the cup on press-1")
	m.taps("It is on press-1")
	m.seesIn("Open batches", "dial-satin on press-1")
}

// TestCleanMix goes through a whole mix with a finger, and looks at each thing that the page
// says on the way.
func TestCleanMix(t *testing.T) {
	t.Parallel()
	m := newMixer(t, quickScale)
	m.sees("Start a mix", "bench 20.0 °C 50 % RH")
	m.chooses("Ink", "dial-satin")
	m.chooses("For", "press-1")
	m.chooses("Motif", "fine detail")
	m.touches("Start this mix")
	m.sees("Put an empty cup-110 on the scale", "Next: 85.0 g of ink dial-satin")
	m.scale.Set(24)
	m.settles(24)
	m.touches("The cup is on")

	m.sees("Pour ink dial-satin", "Next: about 17.0 g of hardener-a")
	m.pours(50)
	m.seesIn("Guided mix", "50.0 g", "Pour 35.0 g to go")
	m.pours(30)
	m.seesIn("Guided mix", "Slowly now 5.0 g to go")
	m.pours(5)
	m.seesIn("Guided mix", "It is right")
	m.touches("The ink is in")

	m.sees("Pour hardener-a", "target 17.0 g", "gloves and eye protection")
	m.pours(17)
	m.seesIn("Guided mix", "It is right", "reacting since")
	m.touches("The hardener is in")
	m.sees("Stir the hardener in", "scrape the side and the bottom", "Next: thinner, about 5 pipettes, 10.7 g by weight")
	m.touches("It is stirred in")
	m.sees("Pour thinner", "no flame, no sparks")
	m.pours(10.7)
	m.touches("The thinner is in")
	m.sees("Stir the thinner in")
	m.touches("It is stirred in")
	m.sees("Put the cup on press-1", "Never close a lid tightly")
	m.touches("It is on press-1")
	m.seesIn("Lights", "press-1 Good to print")
	m.seesIn("Open batches", "dial-satin on press-1", "safe to", "3 h", "from now; expected end")
	m.sees("Start a mix")
}
