package page

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// problem is a refusal as the API sends it.
func problem(status int, text string) map[string]any {
	return map[string]any{"title": "refused", "status": status, "detail": "for programs: " + text, "text": text}
}

// body waits for the change with the given path and returns what it carried.
func (f *fakeBench) body(t *testing.T, path string) map[string]any {
	t.Helper()
	var found asked
	f.until(t, "a change at "+path, func() bool {
		for _, a := range slices.Backward(f.asked) {
			if a.Path == path {
				found = a
				return true
			}
		}
		return false
	})
	if len(found.Key) < 16 {
		t.Errorf("%s came with the key %q", path, found.Key)
	}
	var body map[string]any
	if err := json.Unmarshal([]byte(found.Body), &body); err != nil {
		t.Fatalf("%s: %v in %q", path, err, found.Body)
	}
	return body
}

// sent waits until so many changes with the given path have come.
func (f *fakeBench) sent(t *testing.T, path string, n int) {
	t.Helper()
	f.until(t, fmt.Sprintf("%d changes at %s", n, path), func() bool {
		came := 0
		for _, a := range f.asked {
			if a.Path == path {
				came++
			}
		}
		return came >= n
	})
}

// restShop is the shop while nothing is on the scale, so that the page shows all that it has.
func restShop(now time.Time) map[string]any {
	rows := shop(now)
	rows["batches"] = rows["batches"].([]view.Batch)[1:]
	rows["scales"] = []view.Scale{scaleRow(now, 0, true, "", nil)}
	return rows
}

// stillShop is the shop with the weight at rest.
func stillShop(now time.Time) map[string]any {
	rows := shop(now)
	rows["scales"].([]view.Scale)[0].Stable = true
	return rows
}

func want(t *testing.T, got map[string]any, fields ...any) {
	t.Helper()
	wanted := map[string]any{}
	for i := 0; i < len(fields); i += 2 {
		wanted[fields[i].(string)] = fields[i+1]
	}
	g, _ := json.Marshal(got)
	w, _ := json.Marshal(wanted)
	if string(g) != string(w) {
		t.Errorf("the page sent %s, want %s", g, w)
	}
}

func TestWeightMovesTheBar(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, shop(now)), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".mix-head", "Pour hardener-a")
	b.sees(".weight", "moving")
	if button := eval[float64](b, `document.querySelector(".mix .main").getBoundingClientRect().bottom`); button > 800 {
		t.Errorf("the button to confirm ends at %v px, below the screen", button)
	}
	fill := func() float64 {
		return eval[float64](b, `document.querySelector(".pour-fill").getBoundingClientRect().width / document.querySelector(".pour-track").clientWidth`)
	}
	var before float64
	shapes := map[string]bool{}
	for _, c := range []struct {
		poured     float64
		state, say string
		sign       string
	}{
		{6, "below", "Pour", "11.0 g to go"},
		{15.5, "near", "Slowly now", "1.5 g to go"},
		{16.5, "at", "It is right", "0.5 g to the target"},
		{17.1, "at", "It is right", "16.2 to 17.8 g is accepted"},
		{17.8, "at", "Stop. It is right", "16.2 to 17.8 g is accepted"},
		{20.2, "over", "Stop. Too much", "3.2 g over the target"},
	} {
		pour := &view.Pouring{Part: "hardener", PouredG: c.poured, TargetG: 17, LowG: 16.15, HighG: 17.85}
		f.send("scale", scaleRow(time.Now(), 102.6+c.poured, c.state == "at", "0612-4", pour))
		b.eventually(c.state, fmt.Sprintf(`document.querySelector(".pour").dataset.state === %q`, c.state))
		b.sees(".pour-words", c.say)
		b.sees(".pour-words", c.sign)
		b.sees(".weight", fmt.Sprintf("%.1f", 102.6+c.poured))
		width := fill()
		if width <= before {
			t.Errorf("%s: the bar went from %v to %v", c.state, before, width)
		}
		if expected := c.poured / (17 * 1.25); width < expected-0.02 || width > expected+0.02 {
			t.Errorf("%s: the bar is filled to %v, want %v", c.state, width, expected)
		}
		before = width
		shapes[eval[string](b, `[...document.querySelectorAll(".pour-icon *")].map((e) => e.getAttribute("d")).join()`)] = true
	}
	if len(shapes) != 4 {
		t.Errorf("four states have %d shapes: they hang on colour", len(shapes))
	}
}

func TestRefusedConfirmSaysWhy(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, stillShop(time.Now())), openBrowser(t, 1280, 800)
	b.expect("409")
	why := "The weight has not risen by a division of the scale."
	f.answer("confirm", 409, problem(409, why))
	b.open(f)
	b.press("The hardener is in")
	b.sees(`.mix [role="alert"]`, why)
	want(t, f.body(t, "batches/0612-4/confirm"), "step", "hardener")
	if focus := eval[string](b, `(document.querySelector(".mix .main").focus(), document.activeElement.innerText)`); focus != "The hardener is in" {
		t.Errorf("the focus is on %q", focus)
	}

	// The next answer takes the refusal away; the keyboard does what a finger does.
	next := mixingAt(time.Now(), guide.StirHardener)
	f.answer("confirm", 200, next)
	b.run(chromedp.KeyEvent(kb.Enter))
	b.sees(".mix-head", "Stir the hardener in")
	b.sees(".next", "Next: thinner, about 4 pipettes, 7.1 g by weight")
	b.eventually("refusal gone", `![...document.querySelectorAll(".mix .refusal")].some((e) => e.checkVisibility())`)
	if focus := eval[string](b, "document.activeElement.innerText"); focus != "It is stirred in" {
		t.Errorf("after the step the focus is on %q", focus)
	}
}

// TestTooMuchOnTheScaleIsCorrectedAfterTheTap: while too much hardener is still on the scale the page does not go on to
// stirring; it says what the tap brings.
func TestTooMuchOnTheScaleIsCorrectedAfterTheTap(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := stillShop(now)
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.sees(".next", "Next: stir")
	f.send("scale", scaleRow(now, 123.1, false, "0612-4", &view.Pouring{Part: "hardener", PouredG: 20.5, TargetG: 17, LowG: 16.15, HighG: 17.85}))
	b.sees(".pour", "Too much")
	b.sees(".next", "Confirm it: the page then says what puts it right.")
	b.keepsPicture("too-much-next")
}

func TestTaredOrLifted(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, stillShop(time.Now())), openBrowser(t, 1280, 800)
	b.expect("409")
	asked := problem(409, "The reading changed in a way that both explain.")
	asked["type"] = "urn:potlifed:ambiguous"
	f.answer("confirm", 409, asked)
	b.open(f)
	b.press("The hardener is in")
	b.press("The cup was lifted")
	f.sent(t, "batches/0612-4/confirm", 2)
	want(t, f.body(t, "batches/0612-4/confirm"), "step", "hardener", "tared", false)
}

func TestCorrectionsAndOverride(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, stillShop(now)), openBrowser(t, 1280, 800)
	off := mixingAt(now, guide.Hardener)
	off.Components = append(off.Components, mix.Component{Part: "hardener", G: 20})
	off.Corrections = []mix.Correction{
		{Add: mix.Addition{InkG: 10.4}, ThinnerG: 8.1, TotalG: 123.5, To: mix.ToTolerance},
		{Add: mix.Addition{HardenerG: 2}, ThinnerG: 7.5, TotalG: 114.5, To: mix.ToExact},
	}
	f.answer("confirm", 200, off)
	b.open(f)
	b.press("The hardener is in")
	b.sees(".corrections", "Add 10.4 g of ink")
	b.sees(".corrections", "The finished mix will be 123.5 g, 8.1 g of it thinner.")

	// The second begins with another part: that is what is poured next.
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll(".corrections input")[1].click()`))
	b.press("The hardener is in")
	f.sent(t, "batches/0612-4/confirm", 2)
	want(t, f.body(t, "batches/0612-4/confirm"), "part", "hardener", "step", "hardener")
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll(".corrections input")[0].click()`))

	// Without a reason nothing is sent; a refusal stays in the dialog; then it closes.
	b.expect("422")
	f.answer("confirm", 422, problem(422, "That is no reason."))
	sent := len(f.changes())
	b.press("Use it out of ratio…")
	b.press("Use it for this reason")
	if n := len(f.changes()); n != sent {
		t.Errorf("an override without a reason was sent")
	}
	b.press("Only for a trial print")
	b.press("Use it for this reason")
	b.sees(`dialog [role="alert"]`, "That is no reason.")
	want(t, f.body(t, "batches/0612-4/confirm"), "override", "Only for a trial print", "step", "hardener")
	f.answer("confirm", 200, mixingAt(now, guide.StirHardener))
	b.press("Use it for this reason")
	b.sees(".mix-head", "Stir the hardener in")
	b.eventually("dialog closed", `!document.querySelector("dialog")`)

	// A pour that was taken is mended by its own number.
	named := mixingAt(now, guide.StirHardener)
	named.Pours = []view.Pour{{Seq: 31, Part: "ink", G: 85, At: now.Add(-2 * time.Minute), Step: "ink"}, {Seq: 35, Part: "hardener", G: 17, At: now.Add(-time.Minute), Step: "hardener"}}
	f.send("batch", named)
	b.press("Wrong can…")
	b.sees("dialog", "17.0 g of hardener")
	b.eventually("the newest pour comes first", `[...document.querySelectorAll("dialog legend")].map((e) => e.innerText).join().replaceAll("\u00a0", " ").search(/17.0 g of hardener.*85.0 g of ink/) > 0`)
	b.press("It was thinner")
	b.eventually("dialog closed", `!document.querySelector("dialog")`)
	want(t, f.body(t, "batches/0612-4/correct"), "pour", 35.0, "part", "thinner")
	b.press("Wrong can…")
	b.press("Out of the record\nit stays in the cup")
	b.eventually("dialog closed", `!document.querySelector("dialog")`)
	want(t, f.body(t, "batches/0612-4/correct"), "pour", 35.0, "undo", true)

	gone := mixingAt(now, guide.StirHardener)
	gone.State = lifecycle.Closed
	f.answer("abandon", 200, gone)
	b.press("More…")
	b.press("Scrap this mix…\nasks once more")
	b.press("Scrap it")
	f.body(t, "batches/0612-4/abandon")
	b.sees(".mix-head", "Put the cup on its press")
}

func TestStartRemembersTheLastChoices(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	rows["batches"] = []view.Batch{}
	rows["scales"] = []view.Scale{scaleRow(now, 0, true, "", nil)}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	f.answer("batches", 201, map[string]any{})
	b.open(f)
	b.sees(".sheet", "assumed")
	for _, choice := range []string{`[name="ink"][value="dial-flat"]`, `[name="where"][value="press:press-3"]`, `[name="artwork"][value="fine-detail"]`} {
		b.click(choice)
	}
	b.run(chromedp.Evaluate[chromedp.Void](`(document.querySelector("details").open = true, document.querySelector('[name="ink_g"]').value = "95")`))
	b.press("Start this mix")
	want(t, f.body(t, "batches"), "scale", "scale-1", "ink", "dial-flat", "press", "press-3", "colour_class", "dark", "artwork", "fine-detail", "ink_g", 95.0)

	b.eventually("the choices are kept", `localStorage.getItem("potlifed.artwork") !== null`)
	b.open(f)
	b.sees(".start", "dial-flat")
	first := eval[[]string](b, `["ink", "where"].map((n) => document.querySelector('[name="' + n + '"]')).map((e) => e.value + " " + e.checked)`)
	if fmt.Sprint(first) != "[dial-flat true press:press-3 true]" {
		t.Errorf("first and chosen after a reload: %v", first)
	}

	b.press("Record one mixed by hand…")
	b.run(chromedp.Evaluate[chromedp.Void](`Object.entries({minutes: 90, ink_g: 96, hardener_g: 12}).forEach(([n, v]) => (document.querySelector('dialog [name="' + n + '"]').value = v))`))
	asked := time.Now()
	b.press("Record it")
	b.eventually("dialog closed", `!document.querySelector("dialog")`)
	body := f.body(t, "batches")
	at, err := time.Parse(time.RFC3339, body["mixed_at"].(string))
	if ago := asked.Sub(at); err != nil || ago < 89*time.Minute || ago > 91*time.Minute {
		t.Errorf("mixed at %v, %v ago", body["mixed_at"], ago)
	}
	delete(body, "mixed_at")
	want(t, body, "ink", "dial-flat", "cup", "cup-110", "components", []map[string]any{{"g": 96, "part": "ink"}, {"g": 12, "part": "hardener"}})

	// For which press it was made, its colour and its cans are asked too, of those that there are.
	f.mu.Lock()
	f.rows["cans"] = []view.Can{
		{ID: "flat-7", Part: "ink", Material: "dial-flat", State: "in-use"}, {ID: "satin-1", Part: "ink", Material: "dial-satin", State: "in-use"},
		{ID: "h-1", Part: "hardener", Material: "hardener-a", State: "new"}, {ID: "h-0", Part: "hardener", Material: "hardener-a", State: "empty"},
	}
	f.mu.Unlock()
	b.press("Record one mixed by hand…")
	b.sees("dialog", "From which can of hardener")
	if cans := eval[[]string](b, `[...document.querySelectorAll("dialog [name$=_can]")].map((e) => e.value + " " + e.checked)`); fmt.Sprint(cans) != "[flat-7 true h-1 false]" {
		t.Errorf("the cans are %v", cans)
	}
	b.looks("by-hand", wide, tall, phone)
	b.run(chromedp.Evaluate[chromedp.Void](`(() => { for (const c of ["[name=press][value=press-2]", "[name=colour_class][value=light]", "[name=hardener_can]"]) document.querySelector("dialog " + c).click(); })()`),
		chromedp.Evaluate[chromedp.Void](`Object.entries({minutes: 90, ink_g: 96, hardener_g: 12}).forEach(([n, v]) => (document.querySelector('dialog [name="' + n + '"]').value = v))`))
	b.press("Record it")
	b.closed()
	body = f.body(t, "batches")
	delete(body, "mixed_at")
	want(t, body, "ink", "dial-flat", "press", "press-2", "colour_class", "light", "components", []map[string]any{{"g": 96, "part": "ink", "can": "flat-7"}, {"g": 12, "part": "hardener", "can": "h-1"}})
}

// The mark of a light that flashes is read in both phases, light and dark, at 3:1 at least as WCAG 2.2 asks
// of graphics (1.4.11).
func TestAFlashingLightIsReadInBothPhases(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["troubled"](rows, now)
	lights := rows["lights"].([]view.Light)
	for i := range lights {
		lights[i].Flashing, lights[i].Meaning = true, light.Meanings()[i%4]
	}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	const faint = `(() => {
		const rgb = (c) => c.match(/[\d.]+/g).slice(0, 3).map(Number);
		const luminance = (c) => c.map((v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4).reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
		const found = [];
		for (const at of [100, 900]) {
			for (const a of document.getAnimations()) { a.pause(); a.currentTime = at; }
			for (const sign of document.querySelectorAll('[data-flashing="true"] .sign')) {
				const [body, mark] = [".body", ".mark"].map((c) => sign.querySelector(c) && getComputedStyle(sign.querySelector(c)));
				if (!mark) continue;
				const [ground, fill, part] = [rgb(getComputedStyle(document.body).backgroundColor), rgb(body.fill), Number(body.fillOpacity)];
				const below = ground.map((g, i) => g + part * (fill[i] - g));
				const [x, y] = [luminance(below), luminance(rgb(mark.stroke))];
				const contrast = (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05);
				found.push([sign.getAttribute("class"), at, contrast]);
			}
		}
		return found.filter((f) => f[2] < 3).map((f) => f.join(" ")).concat(found.length === 0 ? ["nothing flashes"] : []);
	})()`
	for _, path := range []string{"/", "/presses"} {
		b.openAt(f, path)
		b.eventually("something flashes", `document.querySelector('[data-flashing="true"] .sign .mark') !== null`)
		for _, scheme := range []string{"light", "dark"} {
			b.run(media("prefers-color-scheme", scheme))
			b.eventually("drawn", twoFrames)
			for _, found := range eval[[]string](b, faint) {
				t.Errorf("%s %s: %s", path, scheme, found)
			}
		}
	}
}

// With two scales the mix shown is that of the one chosen.
func TestScaleIsChosen(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	second := scaleRow(now, 12, true, "", nil)
	second.ID = "scale-2"
	rows["scales"] = append(rows["scales"].([]view.Scale), second)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".mix-head", "Pour hardener-a")
	b.press("scale-2")
	b.sees(".weight", "On scale-2")
	b.sees(".weight", "12")
	b.eventually("the other's mix is out of the way", `![...document.querySelectorAll(".mix-head")].some((e) => e.innerText === "Pour hardener-a")`)
	b.press("scale-1 (0612-4)")
	b.sees(".mix-head", "Pour hardener-a")
}

func TestRestAndLoad(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["resting"](rows, now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".ready", "Let it rest")
	b.eventually("the rest counts down", `/^1[12]:\d\d/.test(document.querySelector('[role="timer"]').innerText)`)
	before := eval[string](b, `document.querySelector('[role="timer"]').innerText`)
	b.skip(time.Second)
	b.eventually("it goes on", fmt.Sprintf(`document.querySelector('[role="timer"]').innerText !== %q`, before))
	b.press("It is on press-3")
	want(t, f.body(t, "batches/0612-5/load"), "press", "press-3")

	// A press that holds a batch is marked so, and its batch is replaced.
	b.press("Onto another press…")
	b.sees("dialog", "holds 0612-2, which comes off")
	b.click(`dialog input[value="press-2"]`)
	b.press("It is on this press")
	b.sees("dialog", "0612-2 comes off press-2")
	b.skip(time.Second) // a tap on what has just appeared is not meant
	b.press("Used up")
	b.eventually("dialog closed", `!document.querySelector("dialog")`)
	want(t, f.body(t, "batches/0612-5/load"), "press", "press-2", "comes_off", map[string]any{"batch": "0612-2", "outcome": "used-up"})
}

func TestWhatDiesFirstIsOnTop(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, restShop(now)), openBrowser(t, 1280, 800)
	b.open(f)
	order := `[...document.querySelectorAll(".batch-id")].map((e) => e.innerText).join(" ")`
	b.eventually("order", order+` === "0612-2 0612-3 0612-1"`)
	b.sees(".batch", "safe to")
	b.sees(".batch", "5 h 05 min from now; expected end")
	b.sees(".batch", "31 min from now; expected end")

	// All bars share the axis: its 6 hours are the same pixels everywhere. A life that is longer runs off it, and says
	// until when it lasts.
	type bar struct{ Start, Width, Solid, Notch, Next float64 }
	bars := eval[[]bar](b, `[...document.querySelectorAll(".life-track")].map((t) => {
		const box = (s) => t.querySelector(s).getBoundingClientRect();
		const start = t.querySelector(".life").getBoundingClientRect().left, wide = t.clientWidth;
		return {Start: start, Width: box(".life").width / wide, Solid: parseFloat(t.querySelector(".life").style.getPropertyValue("--solid")) / 100,
			Notch: (box(".notch").left + box(".notch").width / 2 - start) / wide, Next: (box(".next-mark").left + box(".next-mark").width / 2 - start) / wide};
	})`)
	for i, hours := range []struct{ low, expected, high float64 }{{31. / 60, 42. / 60, 55. / 60}, {2, 3, 4.5}, {5 + 5./60, 6 + 10./60, 7 + 40./60}} {
		got := bars[i]
		for name, pair := range map[string][2]float64{
			"end of the bar": {got.Width, min(1, hours.high/6)}, "end of the solid part": {got.Solid * got.Width, hours.low / 6},
			"notch": {got.Notch, hours.expected / 6}, "next mix": {got.Next, (hours.low - 0.25) / 6}, "start": {got.Start, bars[0].Start},
		} {
			// A cup on no press is followed by no mix, and an end off the axis has no notch.
			if i == 1 && name == "next mix" || i == 2 && name == "notch" {
				if pair[0] >= 0 {
					t.Errorf("bar %d has a mark without a place: %s", i, name)
				}
				continue
			}
			if d := pair[0] - pair[1]; d > 0.005 || d < -0.005 {
				t.Errorf("bar %d: %s at %v of the axis, want %v", i, name, pair[0], pair[1])
			}
		}
	}

	if got, want := eval[[]string](b, `[...document.querySelectorAll(".beyond")].filter((e) => e.checkVisibility()).map((e) => e.innerText)`), "to "+clockOf(now, 7*time.Hour+40*time.Minute)+" ›"; len(got) != 1 || strings.ReplaceAll(got[0], "\u00a0", " ") != want {
		t.Errorf("bars that run off the axis say %q, want %q", got, want)
	}

	// Humid air: the order turns over; then a batch is closed.
	f.send("batch", openBatch(now, "0612-1", "dial-satin", "press-1", 10*time.Minute, 20*time.Minute, 30*time.Minute))
	b.eventually("the new order", order+` === "0612-1 0612-2 0612-3"`)
	b.sees(".batch", "Begin the next mix now")
	f.send("batch", map[string]any{"time": now, "id": "0612-2", "state": "closed"})
	b.eventually("the closed one is gone", order+` === "0612-1 0612-3"`)
	old := openBatch(now, "0612-3", "dial-bend", "", -2*time.Hour, -time.Hour, -5*time.Minute)
	old.Quality, old.Why = view.QualityBad, "no air for an hour"
	f.send("batch", old)
	b.sees(".batch", "past its time")
	b.sees(".batch", "Not to be relied on: no air for an hour")
	if words := eval[string](b, `[...document.querySelectorAll(".batch")].find((e) => e.innerText.includes("0612-3")).innerText`); strings.Contains(words, "Begin the next mix now") {
		t.Errorf("a cup on no press asks for the next mix: %s", words)
	}
}

func TestGoodCloseUnload(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, restShop(now)), openBrowser(t, 1280, 800)
	closed := openBatch(now, "0612-2", "dial-flat", "press-2", 0, 0, 0)
	closed.State = lifecycle.Closed
	f.answer("close", 202, closed)
	b.open(f)
	press := func(batch, words string) {
		t.Helper()
		b.sees(".batch", batch)
		find := fmt.Sprintf(`document.querySelector('button[aria-label="%s (%s)"]')`, words, batch)
		b.eventually(words, find+" !== null")
		b.run(chromedp.Evaluate[chromedp.Void](find + ".click()"))
	}
	press("0612-1", "Looked: still good")
	want(t, f.body(t, "batches/0612-1/good"))
	press("0612-1", "Cup taken off")
	want(t, f.body(t, "batches/0612-1/unload"))

	press("0612-2", "Close…")
	b.sees("dialog", "Was it still good?")
	b.click(`dialog input[value="went-off"]`)
	b.sees("dialog", "When did it go off?")
	b.click(`dialog input[value="now"]`)
	b.press("Close it")
	want(t, f.body(t, "batches/0612-2/close"), "outcome", "went-off", "still_good", "no", "seen", "now")
	b.sees("#notice", "not yet on disk")
	b.eventually("it is gone", `![...document.querySelectorAll(".batch-id")].some((e) => e.innerText === "0612-2")`)

	press("0612-3", "Close…")
	b.run(chromedp.Evaluate[chromedp.Void](`(document.querySelector('dialog input[value="used-up"]').click(), document.querySelector('dialog input[value="yes"]').click(), document.querySelector('dialog input[value="said"]').click(), document.querySelector('dialog [name="left_g"]').value = "12.5")`))
	b.press("Close it")
	want(t, f.body(t, "batches/0612-3/close"), "outcome", "used-up", "still_good", "yes", "left_g", 12.5)
}

func TestLightsAlarmsAndAir(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, restShop(now)), openBrowser(t, 1280, 800)
	b.run(media("prefers-reduced-motion", "reduce"))
	b.open(f)
	b.sees(".lamp", "Ends soon")
	if moving := eval[int](b, `document.getAnimations().length`); moving != 0 {
		t.Errorf("%d animations run although none are wanted", moving)
	}
	if ring := eval[string](b, `getComputedStyle(document.querySelector('[data-flashing="true"] .lamp-shape')).outlineStyle`); ring != "double" {
		t.Errorf("what flashes has the outline %q", ring)
	}
	// A batch that went off left a stop on its press.
	f.send("light", lamp(now, "press-1", light.DoNotPrint, true, "reported as gone off", "0612-0"))
	b.sees(".lamp", "Do not print")
	b.press("Cup taken off")
	f.body(t, "batches/0612-0/unload")

	b.sees("#alarm-count", "1 alarm not acknowledged")
	b.sees(".alarm", "Begin the next mix now")
	seen := shop(now)["alarms"].([]view.Alarm)[0]
	seen.State, seen.By = "acknowledged", "local"
	f.answer("acknowledge", 200, seen)
	b.press("Acknowledge")
	f.body(t, "alarms/batch-ending/0612-2/acknowledge")
	b.sees(".alarm", "Acknowledged by someone at the bench")
	f.send("alarm", map[string]any{"time": now, "name": "batch-ending", "subject": "0612-2", "state": "normal"})
	b.sees("#alarms", "No active alarms.")

	// Gone before anybody acknowledged it, it stays; what is put aside says until when.
	f.send("alarm", view.Alarm{Time: now, Name: "broker", Title: "Broker away", Subject: "bench-1", State: "returned", Priority: "medium", Since: now, Text: "nothing can be published"})
	b.sees("#alarm-count", "1 alarm not acknowledged")
	b.sees(".alarm", "Over, not yet acknowledged")
	until := now.Add(time.Hour)
	shelved := view.Alarm{Time: now, Name: "broker", Title: "Broker away", Subject: "bench-1", State: "shelved", Priority: "medium", Since: now, Text: "moving house", By: "local", Until: &until}
	f.answer("shelve", 200, shelved)
	f.send("alarm", view.Alarm{Time: now, Name: "broker", Title: "Broker away", Subject: "bench-1", State: "acknowledged", Priority: "medium", Since: now, Text: "nothing can be published"})
	b.press("Snooze 1 h")
	if body := f.body(t, "alarms/broker/bench-1/shelve"); body["until"] == nil {
		t.Errorf("put aside with %v, want a time", body)
	}
	b.sees(".alarms-muted summary", "1 snoozed alarm")
	b.click(".alarms-muted summary")
	b.sees(".alarms-muted .alarm", "Snoozed by someone at the bench until")
	f.answer("unshelve", 200, view.Alarm{Time: now, Name: "broker", Title: "Broker away", Subject: "bench-1", State: "normal"})
	b.press("End snooze")
	b.sees("#alarms", "No active alarms.")

	old := airRow(now.Add(-20*time.Minute), "floor", 25.1, 58, 16.2)
	old.Quality, old.Why = view.QualityBad, "no reading for 20 min"
	f.send("air", old)
	b.sees(".air", "read 20 min ago")
	b.sees(".air", "Not to be relied on: no reading for 20 min")
	f.send("scale", view.Scale{Time: now, ID: "scale-1", Quality: view.QualityBad, Why: "no line that can be read for 12s"})
	b.sees(".weight", "no line that can be read")
}

// The safety data sheet of what is poured is one tap away, and no other.
func TestSheetAtItsStep(t *testing.T) {
	t.Parallel()
	rows := shop(time.Now())
	inks := rows["inks"].([]view.Ink)
	for i := range inks {
		inks[i].SafetySheets = []view.SafetySheet{{Part: "ink", ID: inks[i].ID, Link: "/sheets/ink.pdf"}, {Part: "hardener", ID: "hardener-a", Link: "https://maker.example/a.pdf"}}
	}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".sheets", "Safety data sheet of hardener-a")
	if links := eval[[]string](b, `[...document.querySelectorAll(".sheets a")].filter((e) => e.checkVisibility()).map((e) => e.href)`); len(links) != 1 || links[0] != "https://maker.example/a.pdf" {
		t.Errorf("at the hardener the page leads to %v", links)
	}
}
