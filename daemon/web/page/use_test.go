package page

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/evaporate"
	"potlifed/model/guide"
	"potlifed/model/light"
)

// act presses a button of a batch or a press by its accessible name.
func (b *browser) act(words, of string) {
	b.t.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll('button[aria-label="%s (%s)"]')].find((e) => e.checkVisibility())`, words, of)
	b.eventually(words+" of "+of, find+" !== undefined")
	b.run(chromedp.Evaluate[chromedp.Void](find + ".click()"))
}

// option presses the answer with the given words in a dialog of which one tap answers.
func (b *browser) option(words string) {
	b.t.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll("dialog[open] .option")].find((e) => e.innerText.replaceAll("\u00a0", " ").split("\n").join(", ").startsWith(%q))`, words)
	b.eventually("option "+words, find+" !== undefined")
	b.run(chromedp.Evaluate[chromedp.Void](find + ".click()"))
}

func (b *browser) fills(name, text string) {
	b.t.Helper()
	b.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const e = document.querySelector("dialog[open] [name=%s]");
		e.value = %q;
		e.dispatchEvent(new Event("input", {bubbles: true}));
	})()`, name, text)))
}

func (b *browser) closed() {
	b.t.Helper()
	b.eventually("the dialog is gone", `!document.querySelector("dialog")`)
}

var batchPages = []string{"/", "/presses"}

// Move, on both pages: onto a press with one tap more, or off it, open or covered. What a
// dialog holds is judged on the way.
func TestMove(t *testing.T) {
	t.Parallel()
	for _, path := range batchPages {
		f, b := newFakeBench(t, restShop(time.Now())), openBrowser(t, 1280, 800)
		b.openAt(f, path)
		b.act("Move…", "0612-1")
		b.sees("dialog", "holds 0612-2, which comes off")
		if here := eval[bool](b, `[...document.querySelectorAll("dialog .option")].some((e) => e.innerText.startsWith("press-1"))`); here {
			t.Error("the press where it stands is offered")
		}
		b.option("press-3, free")
		b.closed()
		want(t, f.body(t, "batches/0612-1/move"), "press", "press-3")
		b.act("Move…", "0612-1")
		b.sees("dialog", "It is another ink: dial-flat")
		b.option("press-2, holds")
		b.sees("dialog", "0612-2 comes off press-2")
		b.sees("dialog", "This is another ink: dial-satin instead of dial-flat.")
		b.option("Used up")
		b.closed()
		want(t, f.body(t, "batches/0612-1/load"), "press", "press-2", "comes_off", map[string]any{"batch": "0612-2", "outcome": "used-up"})
		b.act("Move…", "0612-1")
		b.option("zone bench, open")
		b.closed()
		want(t, f.body(t, "batches/0612-1/move"), "zone", "bench", "exposure", 1)

		b.expect("409")
		f.answer("move", 409, problem(409, "press-3 holds batch 0612-9; unload or close it"))
		b.act("Move…", "0612-1")
		b.option("zone floor, loosely covered")
		b.sees(`dialog [role="alert"]`, "press-3 holds batch 0612-9")
		want(t, f.body(t, "batches/0612-1/move"), "zone", "floor", "exposure", 0.5)
		b.press("Back")
		b.closed()
	}
}

// No id is broken at a hyphen in the words of a dialog, on the narrowest screen.
func TestIdsInDialogsAreWhole(t *testing.T) {
	t.Parallel()
	rows := restShop(time.Now())
	f, b := newFakeBench(t, rows), openBrowser(t, 320, 700)
	b.open(f)
	whole := func(dialog string) {
		t.Helper()
		for _, found := range eval[[]string](b, brokenIds) {
			t.Errorf("%s breaks %s", dialog, found)
		}
	}
	for _, act := range []string{"Move…", "Close…", "More…"} {
		b.act(act, "0612-1")
		b.eventually("dialog", `document.querySelector("dialog") !== null`)
		whole(act)
		if act == "Move…" {
			b.option("press-2, holds")
			b.sees("dialog", "0612-2 comes off press-2")
			whole("what comes off")
		}
		b.press("Back")
		b.closed()
	}
}

// The second tap of a double one, on a dialog that has just opened under it, is no answer.
func TestSecondTapIsIgnored(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, restShop(time.Now())), openBrowser(t, 1280, 800)
	b.open(f)
	b.act("Move…", "0612-1")
	tap := `[...document.querySelectorAll("dialog .option")].find((e) => e.innerText.startsWith("press-3")).dispatchEvent(new MouseEvent("click", {detail: 1, bubbles: true}))`
	b.run(chromedp.Evaluate[chromedp.Void](tap))
	if sent := f.changes(); len(sent) != 0 {
		t.Fatalf("the second tap sent %v", sent)
	}
	b.skip(500 * time.Millisecond)
	b.run(chromedp.Evaluate[chromedp.Void](tap))
	f.body(t, "batches/0612-1/move")
	// Nor does the second click of a double one on a button.
	before := len(f.changes())
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector('button[aria-label="Looked: still good (0612-1)"]').dispatchEvent(new MouseEvent("click", {detail: 2, bubbles: true}))`))
	if sent := f.changes(); len(sent) != before {
		t.Errorf("the second click of a double one sent %v", sent[before:])
	}
}

func TestSplitTopUpThinTest(t *testing.T) {
	t.Parallel()
	now := time.Now()
	for _, path := range batchPages {
		rows := restShop(now)
		same := openBatch(now, "0612-6", "dial-satin", "press-3", 7*time.Hour, 8*time.Hour, 9*time.Hour)
		same.Thinner = &view.Thinner{TopUp: evaporate.TopUp{Basis: "estimated", LostG: 1.2, AddG: 1.1}, Note: words.English().Say("warning.thinner-no-renewal")}
		rows["batches"] = append(rows["batches"].([]view.Batch), same)
		f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
		b.openAt(f, path)

		part := openBatch(now, "0612-1b", "dial-satin", "", 5*time.Hour, 6*time.Hour, 7*time.Hour)
		f.answer("split", 200, part)
		b.act("More…", "0612-1")
		b.option("Split it…")
		b.sees("dialog", "0612-1 has 109.1 g, less what was printed.")
		b.looks("dialog"+path[1:]+"-split", wide, phone)
		b.fills("grams", "30")
		b.run(chromedp.Evaluate[chromedp.Void](`[...document.querySelectorAll("dialog .chip")].find((e) => e.innerText.includes("zone bench, loosely covered")).querySelector("input").click()`))
		b.press("Split it")
		b.closed()
		want(t, f.body(t, "batches/0612-1/split"), "exposure", 0.5, "grams", 30, "to", map[string]any{"zone": "bench"})
		b.sees("main", "0612-1b")

		// Only what has hardener in it and is of the same ink is offered; the mix under way is not.
		b.act("More…", "0612-1")
		b.option("Top it up…")
		b.sees("dialog", "The older one decides the life")
		b.sees("dialog", "Ink without hardener is refused")
		if offered := eval[string](b, `[...document.querySelectorAll("dialog[open] .option > span")].map((e) => e.innerText).join(" ")`); offered != "0612-6 0612-1b" {
			t.Errorf("offered for topping up: %s", offered)
		}
		b.sees("dialog", "109.1 g mixed, safe to "+clockOf(now, 7*time.Hour)+", comes off press-3")
		b.looks("dialog"+path[1:]+"-top-up", wide, phone)
		b.expect("409")
		f.answer("top-up", 409, problem(409, "batch 0612-6 has no hardener in it; ink without hardener spoils the mix"))
		b.option("0612-6")
		b.sees(`dialog [role="alert"]`, "ink without hardener spoils the mix")
		want(t, f.body(t, "batches/0612-1/top-up"), "from", "0612-6")
		f.answer("top-up", 200, map[string]any{})
		b.option("0612-6")
		b.closed()
		b.act("More…", "0612-2")
		b.option("Top it up…")
		b.sees("dialog", "No other batch of dial-flat is open")
		b.press("Back")
		b.closed()

		b.act("More…", "0612-6")
		b.option("Thin it…")
		b.sees("dialog", "It does not renew the pot life")
		b.sees("dialog", "By estimate, 1.2 g of thinner has evaporated.")
		b.sees("dialog", "Up to 1.1 g may be put back.")
		b.sees("dialog", "7.1 g, which is 7.0 % of ink and hardener; dial-satin takes up to 14 %")
		b.fills("grams", "3")
		b.sees("dialog", "3.0 g is about 2 pipettes")
		b.looks("dialog"+path[1:]+"-thin", wide, phone)
		b.press("2 pipettes, 4\u00a0g")
		b.sees("dialog", "4.0 g is about 2 pipettes")
		b.press("It is in and stirred")
		b.closed()
		want(t, f.body(t, "batches/0612-6/thin"), "grams", 4)
		b.act("More…", "0612-6")
		b.option("Thin it…")
		b.fills("grams", "20")
		b.fills("override", "large solid")
		b.press("It is in and stirred")
		b.closed()
		want(t, f.body(t, "batches/0612-6/thin"), "grams", 20, "override", "large solid")

		b.act("More…", "0612-6")
		b.looks("dialog"+path[1:]+"-more", wide, phone)
		b.option("Reweigh…")
		b.fills("content_g", "71.5")
		b.press("This is its weight")
		b.closed()
		want(t, f.body(t, "batches/0612-6/reweigh"), "content_g", 71.5)

		b.act("More…", "0612-6")
		b.option("Record a flow time…")
		b.sees("dialog", "It does not replace weighing")
		b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector("dialog[open] input[name=cup][value=ford-4]").click()`))
		b.fills("seconds", "48.5")
		b.fills("second_run_s", "49")
		b.fills("ink_temperature_c", "22.5")
		b.looks("dialog"+path[1:]+"-flow-time", wide, phone)
		b.press("Record it")
		b.closed()
		want(t, f.body(t, "batches/0612-6/flow-time"), "cup", "ford-4", "seconds", 48.5, "second_run_s", 49, "ink_temperature_c", 22.5)

		b.act("More…", "0612-6")
		b.option("Log a test…")
		b.sees("dialog", "Adhesion")
		b.run(chromedp.Evaluate[chromedp.Void](`for (const chip of ["kind][value=rub", "result][value=fail"]) document.querySelector("dialog[open] input[name=" + chip + "]").click()`))
		b.fills("minutes", "30")
		b.looks("dialog"+path[1:]+"-test", wide, phone)
		b.press("Log it")
		b.closed()
		test := f.body(t, "batches/0612-6/tests")
		want(t, test, "kind", "rub", "result", "fail", "printed_at", test["printed_at"])
		if at, err := time.Parse(time.RFC3339, fmt.Sprint(test["printed_at"])); err != nil || time.Since(at) < 29*time.Minute || time.Since(at) > 40*time.Minute {
			t.Errorf("printed_at %v, want 30 minutes ago", test["printed_at"])
		}
	}
}

// A batch that is open past its latest end is asked about, on both pages.
func TestABatchLeftOpenIsAskedAbout(t *testing.T) {
	t.Parallel()
	now := time.Now()
	for path, row := range map[string]string{"/": ".batch", "/presses": ".board-row"} {
		rows := restShop(now)
		rows["batches"].([]view.Batch)[2] = openBatch(now, "0612-2", "dial-flat", "press-2", -40*time.Minute, -20*time.Minute, -5*time.Minute)
		f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
		b.openAt(f, path)
		b.eventually("the question", fmt.Sprintf(`[...document.querySelectorAll(%q)].filter((e) => e.innerText.includes("is it still there?")).length === 1`, row))
	}
}

// TestReadyForAPressThatPrints: a mix that is ready for a press with good ink says what prints there and
// until when, and that it is another ink; a tap asks what becomes of what comes off.
func TestReadyForAPressThatPrints(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	rows["batches"] = rows["batches"].([]view.Batch)[:2]
	next := addWaiting(rows, now, "dial-satin", 5*time.Hour, 6*time.Hour, 7*time.Hour)
	rows["presses"].([]view.Press)[1].Next = next.ID
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.sees(".ready .mix-head", "Ready for press-2")
	b.sees(".ready .mix-hint", "This is another ink: dial-satin instead of dial-flat. press-2 prints with 0612-2 (dial-flat), safe to")
	b.sees(".ready .mix-hint", "you are asked what becomes of 0612-2")
	b.sees(".batches", "The next mix 0612-5 is ready: another ink, dial-satin")
	if broken := eval[[]string](b, `[...document.querySelectorAll(".id")].filter((e) => e.getClientRects().length > 1).map((e) => e.innerText)`); len(broken) > 0 {
		t.Errorf("ids are broken at the end of a line: %v", broken)
	}
	b.eventually("an id is kept whole", `document.querySelector(".ready .mix-head .id").innerText === "press-2"`)
	if is := eval[string](b, fmt.Sprintf(onTop, ".ready .main:not([hidden])")); is != "" {
		t.Errorf("the button that continues %s", is)
	}
	b.looks("ready", phone, wide)
	b.run(chromedp.EmulateViewport(390, 844))
	b.press("It is on press-2")
	b.sees("dialog", "0612-2 comes off press-2")
	b.sees("dialog", "This is another ink: dial-satin instead of dial-flat.")
	b.press("Back")
	// Nobody is asked about a press that is free, nor told of another ink.
	b.eventually("dialog closed", `!document.querySelector("dialog")`)
	f.send("batch", map[string]any{"time": now, "id": "0612-2", "state": "closed"})
	f.mu.Lock()
	rows["presses"].([]view.Press)[1].Batch = nil
	f.mu.Unlock()
	b.sees(".ready .mix-head", "Put the cup on press-2")
	b.eventually("only its own time is said", `[...document.querySelectorAll(".ready .mix-hint")].some((e) => /^0612-5 is safe to [^.]+\.$/.test(e.innerText))`)
}

// TestAMixPastItsTimeIsLookedAt: a mix that waited past the time to which it was safe is not loaded with a tap.
func TestAMixPastItsTimeIsLookedAt(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	addWaiting(rows, now, "dial-satin", -10*time.Minute, time.Hour, 2*time.Hour)
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.sees(".ready .mix-head", "Look at it first")
	b.sees(".ready .mix-hint", "0612-5 was safe to ")
	if shown := eval[[]string](b, `[...[...document.querySelectorAll(".ready")].find((e) => e.innerText.includes("0612-5")).querySelectorAll(".actions button")].filter((e) => e.checkVisibility()).map((e) => e.innerText)`); !slices.Equal(shown, []string{"Close…", "Looked: still good"}) {
		t.Errorf("the buttons are %q", shown)
	}
	b.press("Looked: still good") // the first on the page
	f.body(t, "batches/0612-5/good")
}

// TestALookAtDeadInkIsAskedAbout: past the latest end the first button closes the batch, and "still good" says what it
// overrides before it is kept.
func TestALookAtDeadInkIsAskedAbout(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	waits := openBatch(now, "0612-5", "dial-satin", "", -3*time.Hour, -2*time.Hour, -time.Hour)
	waits.For, waits.Step, waits.Risk = "press-2", at(guide.Load), at(1.0)
	runs := openBatch(now, "0612-6", "dial-satin", "", -3*time.Hour, -2*time.Hour, -time.Hour)
	rows["batches"] = append(rows["batches"].([]view.Batch), waits, runs)
	stopped := lamp(now, "press-1", light.DoNotPrint, false, "Too likely to have gone off.", "0612-1")
	stopped.Cause = light.RiskTooHigh
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.sees(".ready .mix-head", "Look at it first")
	main := `[...[...document.querySelectorAll(".ready")].find((e) => e.innerText.includes("0612-5")).querySelectorAll(".actions .main")].filter((e) => e.checkVisibility()).map((e) => e.innerText).join()`
	b.eventually("the main button closes it", main+` === "Close…"`)
	asks := func(act func(), over string) {
		t.Helper()
		act()
		b.sees("dialog", "does it run off the spatula")
		b.sees("dialog", over)
		b.press("Back")
		b.closed()
		if sent := f.changes(); len(sent) != 0 {
			t.Fatalf("sent without an answer: %v", sent)
		}
	}
	asks(func() { b.press("Looked: still good") }, "the risk that it has gone off is 100 %")
	b.press("Looked: still good")
	b.skip(500 * time.Millisecond)
	b.option("No")
	b.sees("dialog", "How did it end?")
	b.press("Back")
	b.closed()

	first := `[...[...document.querySelectorAll(".batch")].find((e) => e.innerText.includes("%s")).querySelectorAll("button")].find((e) => e.checkVisibility()).innerText === "%s"`
	b.eventually("the list", fmt.Sprintf(first, "0612-6", "Close…"))
	asks(func() { b.act("Looked: still good", "0612-6") }, "A yes overrides this")
	f.send("light", stopped)
	b.eventually("stopped for its risk", fmt.Sprintf(first, "0612-1", "Cup taken off"))
	asks(func() { b.act("Looked: still good", "0612-1") }, "Too likely to have gone off.")
	b.act("Looked: still good", "0612-6")
	b.skip(500 * time.Millisecond)
	b.option("Yes to all three")
	f.body(t, "batches/0612-6/good")
}

// TestADeadCupIsNotReady: a mix past its latest end is never called ready, and goes onto a press only after
// somebody has looked at it. The dialogs tell the lives of both cups.
func TestADeadCupIsNotReady(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	addWaiting(rows, now, "dial-flat", -8*time.Hour, -6*time.Hour, -4*time.Hour)
	scenes["waiting"](rows, now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.run(chromedp.Evaluate[chromedp.Void](`if (!document.querySelector(".waiting").checkVisibility()) [...document.querySelectorAll("#strip button")].find((e) => e.innerText.includes("wait")).click()`))
	b.sees(".waiting", "dial-flat, the latest end was 4 h 00 min ago: look at it first")
	if words := eval[string](b, `document.querySelector(".waiting").innerText`); strings.Contains(words, "ready for press-2") {
		t.Errorf("a dead cup is offered: %s", words)
	}
	b.act("Load…", "0612-5")
	b.sees("dialog", "does it run off the spatula")
	b.sees("dialog", "A yes overrides this")
	b.skip(time.Second)
	b.option("Yes to all three")
	b.sees("body", "Which press is 0612-5 on?")
	if sent := f.changes(); len(sent) != 0 {
		t.Errorf("loaded without an answer: %v", sent)
	}
	b.sees("body", "holds 0612-2, which comes off. 0612-2: safe to ")
	b.click(`dialog input[value="press-2"]`)
	b.press("It is on this press")
	b.sees("body", "Comes off: 0612-2, safe to ")
	b.skip(500 * time.Millisecond)
	b.option("Used up")
	want(t, f.body(t, "batches/0612-5/load"), "press", "press-2", "looked", true, "comes_off", map[string]any{"batch": "0612-2", "outcome": "used-up"})
}

// TestAMixThatMayHaveGoneOffIsMovedAfterALook: past its earliest end only, a mix is looked at when it is moved onto a
// press too, and not when it is put aside.
func TestAMixThatMayHaveGoneOffIsMovedAfterALook(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	old := openBatch(now, "0612-5", "dial-flat", "", -10*time.Minute, time.Hour, 2*time.Hour)
	rows["batches"] = append(rows["batches"].([]view.Batch), old)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.act("Move…", "0612-5")
	b.sees("dialog", "Goes on: 0612-5, may end now.")
	b.option("press-3, free")
	b.sees("body", "If it is thick, stringy or gelled, scrap it.")
	if sent := f.changes(); len(sent) != 0 {
		t.Errorf("moved without an answer: %v", sent)
	}
	b.skip(time.Second)
	b.option("Looked: still good")
	b.closed()
	want(t, f.body(t, "batches/0612-5/move"), "press", "press-3", "looked", true)
}

// TestAMixThatTheBenchWantsLookedAt: before its earliest end a mix is looked at too, where the bench says so: its risk
// is high, or a part of it went off.
func TestAMixThatTheBenchWantsLookedAt(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	mix := openBatch(now, "0612-5", "dial-flat", "", time.Hour, 2*time.Hour, 3*time.Hour)
	mix.LookFirst = true
	rows["batches"] = append(rows["batches"].([]view.Batch), mix)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.act("Move…", "0612-5")
	b.option("press-3, free")
	b.sees("body", "If it is thick, stringy or gelled, scrap it.")
	if sent := f.changes(); len(sent) != 0 {
		t.Errorf("moved without an answer: %v", sent)
	}
}

// TestACupThatIsSafeForLongerStays: a mix that waits for a press whose cup is safe for longer is not put in its
// place by the first button.
func TestACupThatIsSafeForLongerStays(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	addWaiting(rows, now, "dial-flat", 20*time.Minute, 30*time.Minute, 40*time.Minute)
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.sees(".ready .mix-head", "Not needed on press-2 now")
	b.sees(".ready .mix-hint", "0612-2 is safe for as long as this mix or longer: leave it on the press.")
	card := `[...document.querySelectorAll(".ready")].find((e) => e.innerText.includes("0612-5"))`
	if shown := eval[[]string](b, `[...`+card+`.querySelectorAll(".actions button")].filter((e) => e.checkVisibility()).map((e) => e.innerText)`); !slices.Equal(shown, []string{"Keep it covered…", "Close…", "It is on press-2", "Onto another press…"}) {
		t.Errorf("the buttons are %q", shown)
	}
	if main := eval[[]string](b, `[...`+card+`.querySelectorAll(".actions button.main")].filter((e) => e.checkVisibility()).map((e) => e.innerText)`); !slices.Equal(main, []string{"Keep it covered…"}) {
		t.Errorf("the main buttons are %q", main)
	}
	b.press("Keep it covered…")
	b.sees("dialog", "loosely covered")
	b.press("Back")
	f.send("batch", openBatch(now, "0612-2", "dial-flat", "press-2", 10*time.Minute, 20*time.Minute, 30*time.Minute))
	b.sees(".ready .mix-head", "Ready for press-2")
	// The list of presses has the mix itself on the press before its own row does: it is not compared with itself.
	f.mu.Lock()
	rows["presses"].([]view.Press)[1].Batch = at("0612-5")
	f.mu.Unlock()
	b.open(f)
	b.sees(".ready .mix-head", "Put the cup on press-2")
}

// TestTheSafestActComesFirst: where the light says not to print, the first button takes the cup off.
func TestTheSafestActComesFirst(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	first := `[...[...document.querySelectorAll(".batch")].find((e) => e.innerText.includes("0612-1")).querySelectorAll("button")].find((e) => e.checkVisibility()).innerText`
	b.eventually("a good ink is looked at", first+` === "Looked: still good"`)
	f.send("light", lamp(now, "press-1", light.DoNotPrint, false, "Too likely to have gone off.", "0612-1"))
	b.eventually("a bad one comes off", first+` === "Cup taken off"`)
	if sizes := eval[[]float64](b, `[".batch-state[data-stop=true]", ".batch-id"].map((s) => parseFloat(getComputedStyle(document.querySelector(s)).fontSize))`); sizes[0] < sizes[1] {
		t.Errorf("that it must not be printed is in %v px, the name of the batch in %v px", sizes[0], sizes[1])
	}
	f.send("light", lamp(now, "press-1", light.InOrder, false, "Enough life left.", "0612-1"))
	b.eventually("and back", first+` === "Looked: still good"`)
}

// TestTemperaturesAreGivenInTheUnitOfTheShop: where it is °F, a person enters °F, and the bench gets °C.
func TestTemperaturesAreGivenInTheUnitOfTheShop(t *testing.T) {
	t.Parallel()
	rows := shop(time.Now())
	f, b := newFakeBenchIn(t, rows, words.Locale{Fahrenheit: true}), openBrowser(t, 800, 1280)
	f.answer("flow-time", 200, rows["batches"].([]view.Batch)[0])
	b.openAt(f, "/presses")
	b.act("More…", "0612-1")
	b.option("Record a flow time…")
	b.sees("dialog", "°F")
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector("dialog[open] input[name=cup][value=ford-4]").click()`))
	b.fills("seconds", "48.5")
	b.fills("ink_temperature_c", "72.5")
	b.press("Record it")
	b.closed()
	want(t, f.body(t, "batches/0612-1/flow-time"), "cup", "ford-4", "seconds", 48.5, "ink_temperature_c", 22.5)

	f.answer("start-jars", 200, rows["inks"].([]view.Ink)[0])
	b.openAt(f, "/devices")
	b.act("Test in jars…", "dial-satin")
	b.sees("dialog", "about 68 °F is usual")
	b.fillsTheJars() // 20 and 35: too cold, in °F
	b.press("Start the test")
	b.eventually("the limits are in °F", `document.querySelector("dialog .fault")?.innerText.includes("50")`)
	b.fills("cool", "68")
	b.fills("warm", "95")
	b.press("Start the test")
	b.closed()
	jars := f.body(t, "inks/dial-satin/start-jars")["jars"].([]any)
	if cool, warm := jars[0].(map[string]any), jars[2].(map[string]any); cool["temperature_c"] != 20.0 || warm["temperature_c"] != 35.0 {
		t.Errorf("jars %v", jars)
	}
}
