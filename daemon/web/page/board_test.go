package page

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

func TestBoardOrder(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1920, 1080)
	b.openAt(f, "/presses")
	order := `[...document.querySelectorAll(".board-name")].map((e) => e.innerText).join(" ")`
	const places = "press-1 press-2 press-3 zone bench"
	b.eventually("presses in their order, and batches on none below", order+" === "+fmt.Sprintf("%q", places))
	// What one may plan on is large; what is expected is small, and never left out.
	b.sees(".board-left", "safe to "+clockOf(now, 31*time.Minute))
	b.sees(".board-band", "31 min from now; expected end "+clockOf(now, 42*time.Minute)+", latest "+clockOf(now, 55*time.Minute))
	b.sees(".board-next", "Next mix at")
	b.sees(".board-row", "Ends soon")
	b.sees("#bench-age", "newest figures")

	// All bars share the axis, and its times of day are where they belong.
	type bar struct{ Width, Notch, Next float64 }
	bars := eval[[]bar](b, `[...document.querySelectorAll(".board .life-track")].filter((t) => t.checkVisibility()).map((t) => {
		const box = (s) => t.querySelector(s).getBoundingClientRect(), start = box(".life").left, wide = t.clientWidth;
		return {Width: box(".life").width / wide, Notch: (box(".notch").left + box(".notch").width / 2 - start) / wide, Next: (box(".next-mark").left + box(".next-mark").width / 2 - start) / wide};
	})`)
	for i, h := range []struct{ low, expected, high float64 }{{5 + 5./60, 6 + 10./60, 7 + 40./60}, {31. / 60, 42. / 60, 55. / 60}, {2, 3, 4.5}} {
		for name, pair := range map[string][2]float64{"high": {bars[i].Width, min(1, h.high/6)}, "expected": {bars[i].Notch, h.expected / 6}, "next mix": {bars[i].Next, (h.low - 0.25) / 6}} {
			if i != 1 && name == "next mix" || i == 0 && name == "expected" {
				continue // no mix follows a cup on no press, and one that is being mixed has no time at which it must begin; an end off the axis has no notch
			}
			if d := pair[0] - pair[1]; d > 0.005 || d < -0.005 {
				t.Errorf("bar %d: %s at %v of the axis, want %v", i, name, pair[0], pair[1])
			}
		}
	}
	b.sees(".board", "The next mix 0612-4 is being mixed")
	// The bar that ends first takes a sixth of it, and longer ones run off.
	b.sees(".beyond", "to "+clockOf(now, 7*time.Hour+40*time.Minute)+" ›")
	b.ticksFit(now, 6*time.Hour)

	// The axis grows with what is shown, and its times move along.
	f.send("batch", openBatch(now, "0612-1", "dial-satin", "press-1", 9*time.Hour, 10*time.Hour, 11*time.Hour+31*time.Minute))
	f.send("batch", openBatch(now, "0612-2", "dial-flat", "press-2", time.Hour, 90*time.Minute, 2*time.Hour))
	b.sees(".board-band", "9 h 00 min from now")
	b.eventually("nothing runs off", `![...document.querySelectorAll(".beyond")].some((e) => e.checkVisibility())`)
	b.ticksFit(now, 12*time.Hour)

	// A press that must not print keeps its place, too.
	f.mu.Lock()
	rows["presses"].([]view.Press)[2].Light = light.DoNotPrint
	f.mu.Unlock()
	f.send("light", lamp(now, "press-3", light.DoNotPrint, true, "0612-0 went off", "0612-0"))
	b.sees(".board-row", "Do not print")
	if got := eval[string](b, order); got != places {
		t.Errorf("the rows are in the order %s, want %s", got, places)
	}
	b.act("Cup taken off", "press-3")
	f.body(t, "batches/0612-0/unload")
}

// clockOf writes an instant as the board does: with the weekday when it is of another day.
func clockOf(now time.Time, in time.Duration) string {
	at := now.Add(in).Local()
	if at.YearDay() != now.Local().YearDay() {
		return at.Format("Mon 15:04")
	}
	return at.Format("15:04")
}

// TestBoardPastItsSafeEnd: a batch that may have gone off shows no time as if it were safe.
func TestBoardPastItsSafeEnd(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	rows["batches"] = []view.Batch{openBatch(now, "0612-2", "dial-flat", "press-2", -5*time.Minute, 10*time.Minute, 25*time.Minute)}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.openAt(f, "/presses")
	b.sees(".board-left", "may end now")
	for _, path := range []string{"/presses", "/"} { // the light says the same
		b.openAt(f, path)
		b.sees("main", "May end now")
		if words := eval[string](b, `document.querySelector(".board, .lights").innerText`); strings.Contains(words, "Ends soon") {
			t.Errorf("%s says of one cup that it may end now and that it ends soon: %s", path, words)
		}
	}
	b.openAt(f, "/presses")
	b.sees(".board-band", "was safe to "+clockOf(now, -5*time.Minute)+"; expected end "+clockOf(now, 10*time.Minute))
}

// TestBoardKeepsItsPlaces: no row changes its place, so that no button comes under a finger that meant another: not
// as ends move, nor as a mix that waits for a press comes, nor as its cup goes onto one.
func TestBoardKeepsItsPlaces(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, shop(now)), openBrowser(t, 1920, 1080)
	b.openAt(f, "/presses")
	stands := func(what, want string) {
		t.Helper()
		b.eventually(what, fmt.Sprintf(`[...document.querySelectorAll(".board-row")].map((e) => [e.querySelector(".board-name"), e.querySelector(".board-batch")].map((p) => p.innerText.split(" · ")[0]).join(" ").trim()).join(", ") === %q`, want))
	}
	stands("presses in their order", "press-1 0612-1, press-2 0612-2, press-3, zone bench 0612-3")
	f.send("batch", openBatch(now, "0612-1", "dial-satin", "press-1", 15*time.Minute, 25*time.Minute, 35*time.Minute))
	b.sees(".board-row", "15 min from now")
	stands("an end that comes first", "press-1 0612-1, press-2 0612-2, press-3, zone bench 0612-3")
	waits := openBatch(now, "0612-10", "dial-bend", "", time.Hour, 2*time.Hour, 3*time.Hour)
	f.send("batch", waits)
	stands("a batch more", "press-1 0612-1, press-2 0612-2, press-3, zone bench 0612-3, zone bench 0612-10")
	f.send("batch", openBatch(now, "0612-3", "dial-bend", "press-3", 2*time.Hour, 3*time.Hour, 4*time.Hour))
	stands("put onto a press", "press-1 0612-1, press-2 0612-2, press-3 0612-3, zone bench 0612-10")
}

// TestBatchesKeepTheirOrderUnderAHand: while somebody is at the list of batches no row changes its place, so that no
// button comes under a finger that meant another; afterwards the rows are in order again.
func TestBatchesKeepTheirOrderUnderAHand(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1920, 1080)
	b.open(f)
	order := `[...document.querySelectorAll("#batches .batch-id")].map((e) => e.innerText).join(" ")`
	b.eventually("what dies first is on top", order+` === "0612-2 0612-3 0612-1"`)
	ends := func(in time.Duration) {
		batch := openBatch(now, "0612-1", "dial-satin", "press-1", in, in+10*time.Minute, in+20*time.Minute)
		f.mu.Lock()
		rows["batches"].([]view.Batch)[0] = batch // the page asks for its lists again after a silence
		f.mu.Unlock()
		f.until(t, "the stream", func() bool { return len(f.readers) > 0 })
		f.send("batch", batch)
		b.eventually("0612-1 is drawn again", fmt.Sprintf(`[...document.querySelectorAll("#batches .batch")].some((e) => e.innerText.startsWith("0612-1") && e.innerText.replaceAll("\u00a0", " ").includes("%.0f min from now"))`, in.Minutes()))
	}
	keeps := func(what, want string) {
		t.Helper()
		if got := eval[string](b, order); got != want {
			t.Errorf("%s: the rows are in the order %s, want %s", what, got, want)
		}
	}
	const first, second = "0612-2 0612-3 0612-1", "0612-1 0612-2 0612-3"
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector("#batches button").dispatchEvent(new PointerEvent("pointerdown", {bubbles: true}))`))
	ends(20 * time.Minute)
	keeps("under a finger", first)
	b.run(chromedp.Evaluate[chromedp.Void](`document.dispatchEvent(new PointerEvent("pointerup", {bubbles: true}))`))
	b.skip(8 * time.Second)
	ends(15 * time.Minute)
	keeps("some seconds after a tap", first)
	b.skip(3 * time.Second)
	b.eventually("the order is right again", order+" === "+fmt.Sprintf("%q", second))

	b.run(chromedp.Evaluate[chromedp.Void](`[...document.querySelectorAll("#batches button")].find((e) => e.checkVisibility()).focus()`), chromedp.KeyEvent(kb.Tab))
	b.skip(20 * time.Second)
	ends(50 * time.Minute)
	keeps("with the focus on a button", second)
	b.skip(41 * time.Second)
	b.eventually("and again", order+" === "+fmt.Sprintf("%q", "0612-2 0612-1 0612-3"))
}

// ticksFit judges where the axis has its times of day, given its length.
func (b *browser) ticksFit(now time.Time, length time.Duration) {
	b.t.Helper()
	type tick struct {
		Label string
		At    float64
	}
	ticks := eval[[]tick](b, `[...document.querySelectorAll('.tick[data-now="false"]')].map((e) => ({Label: e.innerText.split(/\s/).pop(), At: parseFloat(e.style.left) / 100}))`)
	if len(ticks) < 3 {
		b.t.Fatalf("the axis has %v", ticks)
	}
	for _, k := range ticks {
		clock, err := time.ParseInLocation("15:04", k.Label, time.Local)
		if err != nil {
			b.t.Fatal(err)
		}
		day := time.Date(now.Year(), now.Month(), now.Day(), clock.Hour(), clock.Minute(), 0, 0, time.Local)
		if day.Before(now) {
			day = day.AddDate(0, 0, 1)
		}
		if d := k.At - float64(day.Sub(now))/float64(length); d > 0.005 || d < -0.005 {
			b.t.Errorf("%s stands at %v of the axis, off by %v", k.Label, k.At, d)
		}
	}
}

// TestEmptyBoardSaysWhatComesNext: an axis on which nothing ends is not drawn.
func TestEmptyBoardSaysWhatComesNext(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	rows["batches"] = []view.Batch{}
	rows["presses"] = rows["presses"].([]view.Press)[2:]
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.openAt(f, "/presses")
	b.sees("#board", "No batch is open. Next: start a mix at the bench")
	b.eventually("no axis", `![...document.querySelectorAll(".tick, .axis-key")].some((e) => e.checkVisibility())`)
	f.send("batch", mixingAt(now, guide.Hardener))
	b.sees("#board", "0612-4 is being mixed for press-1")
	f.send("batch", openBatch(now, "0612-4", "dial-satin", "press-3", time.Hour, 2*time.Hour, 3*time.Hour))
	b.eventually("an axis", `[...document.querySelectorAll(".tick")].some((e) => e.checkVisibility())`)
	b.sees("#board", "A light is an aid, not a safety device")
}

func TestBoardActions(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, shop(now)), openBrowser(t, 1920, 1080)
	closed := openBatch(now, "0612-1", "dial-satin", "press-1", 0, 0, 0)
	closed.State = lifecycle.Closed
	f.answer("close", 202, closed)
	seen := shop(now)["alarms"].([]view.Alarm)[0]
	seen.State, seen.By = "acknowledged", "local"
	f.answer("acknowledge", 200, seen)
	b.openAt(f, "/presses")

	b.act("Acknowledge", "press-2")
	f.body(t, "alarms/batch-ending/0612-2/acknowledge")
	b.eventually("it needs no second one", `![...document.querySelectorAll('[aria-label="Acknowledge (press-2)"]')].some((e) => e.checkVisibility())`)

	b.act("Looked: still good", "0612-2")
	want(t, f.body(t, "batches/0612-2/good"))
	b.act("Cup taken off", "0612-2")
	want(t, f.body(t, "batches/0612-2/unload"))

	b.act("Load…", "press-3")
	b.option("0612-3")
	b.closed()
	want(t, f.body(t, "batches/0612-3/load"), "press", "press-3")

	b.act("Close…", "0612-1")
	b.click(`dialog input[value="discarded"]`)
	b.click(`dialog input[value="none"]`)
	b.press("Close it")
	want(t, f.body(t, "batches/0612-1/close"), "outcome", "discarded", "still_good", "unknown")
	b.sees("#notice", "not yet on disk")

	b.expect("409")
	f.answer("good", 409, problem(409, "batch 0612-2 is closed"))
	b.act("Looked: still good", "0612-2")
	b.sees(".board-row .refusal", "batch 0612-2 is closed")

	// What names the fields of a request is for programs, and is behind a word.
	b.expect("422")
	raw := problem(422, "Check what was entered.")
	raw["detail"] = "validation failed"
	raw["errors"] = []map[string]any{{"location": "body.sure", "message": "expected boolean"}}
	f.answer("good", 422, raw)
	b.act("Looked: still good", "0612-2")
	b.sees(".board-row .refusal", "Check what was entered.")
	if shown := eval[string](b, `document.querySelector(".board-row .refusal:not([hidden])").innerText`); strings.Contains(shown, "body.sure") || strings.Contains(shown, "validation") {
		t.Errorf("a person reads %q", shown)
	}
	b.click(".board-row .refusal:not([hidden]) summary")
	b.sees(".board-row .refusal", "validation failed; body.sure: expected boolean")
}

// Without contact no press looks in order, and with it back they do again.
func TestBoardWithoutContact(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 1920, 1080)
	b.expect("503")
	b.openAt(f, "/presses")
	b.sees(".board-word", "Good to print")
	f.cut()
	b.sees("#contact", "Contact lost, trying again")
	b.eventually("no button looks as if it would do something", `[...document.querySelectorAll("main button")].every((e) => getComputedStyle(e).borderStyle === "dashed")`)
	b.skip(45 * time.Second)
	b.sees("#no-contact", "No contact. Nothing heard for")
	b.eventually("no light is believed", `[...document.querySelectorAll('[data-place="press"] .board-word')].every((e) => e.innerText === "Not known")`)
	b.sees(".batch-state", "as it was")
	f.mu.Lock()
	f.silent = false
	f.mu.Unlock()
	b.sees("#contact", "In contact with the bench")
	b.sees(".board-word", "Good to print")
}

// One reaches every page from every other, and each says where one is.
func TestNavigation(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 1280, 800)
	for _, path := range []string{"/", "/presses", "/cans", "/closed", "/study", "/devices"} {
		b.openAt(f, path)
		links := eval[[]string](b, `[...document.querySelectorAll("nav a:not(.menu-help)")].map((e) => e.getAttribute("href") + (e.ariaCurrent === "page" ? " here" : ""))`)
		for i, to := range []string{"/", "/presses", "/cans", "/closed", "/study", "/devices"} {
			if to == path {
				to += " here"
			}
			if len(links) != 6 || links[i] != to {
				t.Errorf("on %s the links are %q", path, links)
			}
		}
	}
}
