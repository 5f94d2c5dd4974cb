package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
)

// TestADialogSaysWhatIsMissing: an answer that is missing is asked for beside its choices, in the catalogue's words,
// and the words go once it is given.
func TestADialogSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, restShop(now)), openBrowser(t, 390, 844)
	b.open(f)
	b.act("Close…", "0612-1")
	b.press("Close it")
	b.eventually("it is said beside the choices", `document.querySelector('dialog fieldset:has([value="used-up"]) > .fault')?.innerText.includes("Choose one of these.")`)
	if sent := f.changes(); len(sent) != 0 {
		t.Errorf("sent without an answer: %v", sent)
	}
	b.click(`dialog [value="discarded"]`)
	b.eventually("the words are gone", `!document.querySelector("dialog .fault")`)
	// What is scrapped is weighed by default; what is entered must be a mass.
	b.eventually("it is weighed", `document.querySelector('dialog [value="weigh"]').checked`)
	b.click(`dialog [value="said"]`)
	b.press("Close it")
	b.eventually("the mass is missing", `document.querySelector('dialog .field:has([name="left_g"]) > .fault')?.innerText.includes("Fill this in.")`)
	b.fills("left_g", "-3")
	b.press("Close it")
	b.eventually("below zero", `document.querySelector('dialog .field:has([name="left_g"]) > .fault')?.innerText.includes("At least 0.")`)
	b.click(`dialog [value="none"]`)
	b.press("Close it")
	b.closed()
	want(t, f.body(t, "batches/0612-1/close"), "outcome", "discarded", "still_good", "unknown")
}

// TestWhatIsScrappedIsWeighed: in a change-over too, unless somebody says otherwise.
func TestWhatIsScrappedIsWeighed(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	one := openBatch(now, "0612-1", "dial-satin", "press-1", 5*time.Hour, 6*time.Hour, 7*time.Hour)
	one.CupEmptyG = at(18.0)
	next := openBatch(now, "0612-5", "dial-satin", "", 6*time.Hour, 7*time.Hour, 8*time.Hour)
	next.For = "press-1"
	rows["batches"] = []view.Batch{one, next}
	rows["scales"] = []view.Scale{scaleRow(now, 40.2, true, "", nil)}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	scraps := func() {
		t.Helper()
		b.press("It is on press-1")
		b.skip(600 * time.Millisecond)
		b.option("Scrapped…")
		b.sees("dialog", "How much of 0612-1 is scrapped?")
	}
	scraps()
	b.sees(".left-live", "scale-1 shows 40.2 g, settled; less the cup, 18.0 g: 22.2 g left.")
	b.looks("dialog-scrapped", phone)
	b.press("Scrap it")
	b.closed()
	off := func(fields ...any) map[string]any {
		of := map[string]any{"batch": "0612-1", "outcome": "discarded"}
		for i := 0; i < len(fields); i += 2 {
			of[fields[i].(string)] = fields[i+1]
		}
		return of
	}
	want(t, f.body(t, "batches/0612-5/load"), "press", "press-1", "comes_off", off("scale", "scale-1", "weigh", true))
	scraps()
	b.click(`dialog [value="none"]`)
	b.press("Scrap it")
	b.closed()
	want(t, f.body(t, "batches/0612-5/load"), "press", "press-1", "comes_off", off())
}

// TestALongDialogShowsThatItGoesOn: its answers stay in sight, and a mark above them says that more is below, until
// that has been seen.
func TestALongDialogShowsThatItGoesOn(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, restShop(time.Now())), openBrowser(t, 390, 844)
	b.open(f)
	b.act("Close…", "0612-1")
	b.eventually("more is below", `document.querySelector("dialog").dataset.more === "true"`)
	b.eventually("the mark", `getComputedStyle(document.querySelector("dialog .actions"), "::before").content.includes("\u25be")`)
	answers := `(() => { const at = [...document.querySelectorAll("dialog .actions button")].find((e) => e.innerText === "Close it").getBoundingClientRect(); return at.top >= 0 && at.bottom <= innerHeight; })()`
	b.eventually("the answer is in sight", answers)
	b.looks("dialog-close-long", phone)
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector("dialog").scrollTo(0, 99999)`))
	b.eventually("all was seen", `document.querySelector("dialog").dataset.more === "false"`)
	b.eventually("no mark", `getComputedStyle(document.querySelector("dialog .actions"), "::before").content === "none"`)
	b.eventually("the answer is in sight", answers)
}

// TestASplitSaysWhatStays: what is in the cup, and what stays there.
func TestASplitSaysWhatStays(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	one := openBatch(now, "0612-1", "dial-satin", "press-1", 5*time.Hour, 6*time.Hour, 7*time.Hour) // 109.1 g
	one.Thinner = &view.Thinner{}
	one.Thinner.LostG = 2.1
	rows["batches"] = []view.Batch{one}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.act("More…", "0612-1")
	b.skip(600 * time.Millisecond)
	b.option("Split it")
	b.sees("dialog", "0612-1 has 107.0 g, less what was printed.")
	b.fills("grams", "40")
	b.sees("dialog", "67.0 g stay in 0612-1, less what was printed.")
	b.fills("grams", "120")
	b.sees("dialog", "0612-1 has 107.0 g at the most: pour off less.")
}

// TestStartProposesThePressThatNeedsAMix: each press says what it needs, one that has its mix is not proposed, and a
// choice of a person stays.
func TestStartProposesThePressThatNeedsAMix(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	press := func(i int, batch *string, next string) {
		p := &rows["presses"].([]view.Press)[i]
		p.Batch, p.Next = batch, next
	}
	press(0, at("0612-1"), "0612-5")
	press(1, at("0612-2"), "")
	press(2, at("0612-3"), "")
	waits := openBatch(now, "0612-5", "dial-satin", "", 4*time.Hour, 6*time.Hour, 7*time.Hour)
	waits.For = "press-1"
	second := openBatch(now, "0612-2", "dial-flat", "press-2", 30*time.Minute, time.Hour, 2*time.Hour)
	third := openBatch(now, "0612-3", "dial-bend", "press-3", 3*time.Hour, 4*time.Hour, 5*time.Hour)
	rows["batches"] = []view.Batch{openBatch(now, "0612-1", "dial-satin", "press-1", time.Hour, 2*time.Hour, 3*time.Hour), waits, second, third}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.press("Start another mix…")
	note := func(press, words string) {
		t.Helper()
		b.sees(fmt.Sprintf(`label:has([value="press:%s"]) small`, press), words)
	}
	chosen := func(press, ink string) {
		t.Helper()
		b.eventually(press+" is proposed", fmt.Sprintf(`document.querySelector('[name="where"]:checked').value === "press:%s"`, press))
		b.eventually(ink+" is proposed", fmt.Sprintf(`document.querySelector('[name="ink"]:checked').value === "%s"`, ink))
		b.sees(".start-what", ink+" → "+press)
	}
	note("press-1", "supplied to ")
	note("press-2", "next mix ")
	note("press-3", "next mix ")
	chosen("press-2", "dial-flat")
	b.looks("start-needs", wide, tall, phone)
	// The mix of press-2 is being made; then press-3 runs out.
	mixing := openBatch(now, "0612-6", "dial-flat", "", time.Hour, 2*time.Hour, 3*time.Hour)
	mixing.For, mixing.EndsAt, mixing.State, mixing.Aside = "press-2", nil, "mixing", true
	f.send("batch", mixing)
	note("press-2", "mix 0612-6 is being made")
	chosen("press-3", "dial-bend")
	third.NextMixAt = at(now.Add(-time.Minute))
	f.send("batch", third)
	note("press-3", "next mix now")
	// Whatever the presses need, what a person has chosen stays.
	b.click(`[name="where"][value="press:press-1"]`)
	f.send("batch", map[string]any{"time": now, "id": "0612-6", "state": "closed"})
	note("press-2", "next mix ")
	chosen("press-1", "dial-bend")
}

// TestAnInkProposesThePressThatTakesIt: each press says which other ink is on it, and the chosen ink proposes a press
// that needs no change of ink, until a person chooses the press.
func TestAnInkProposesThePressThatTakesIt(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	presses := rows["presses"].([]view.Press)
	presses[0].Batch, presses[0].Next = at("0612-1"), ""
	presses[1].Batch, presses[1].Next = nil, ""
	presses[2].Batch, presses[2].Next = at("0612-3"), ""
	rows["batches"] = []view.Batch{
		openBatch(now, "0612-1", "gauge-quick", "press-1", 30*time.Minute, time.Hour, 2*time.Hour),
		openBatch(now, "0612-3", "dial-bend", "press-3", 3*time.Hour, 4*time.Hour, 5*time.Hour),
	}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	f.recipe = coarseRecipe()
	b.open(f)
	chosen := func(press string) {
		t.Helper()
		b.eventually(press+" is proposed", fmt.Sprintf(`document.querySelector('[name="where"]:checked').value === "press:%s"`, press))
	}
	note := func(press, words string) {
		t.Helper()
		b.sees(fmt.Sprintf(`label:has([value="press:%s"]) small`, press), words)
	}
	chosen("press-1")
	note("press-1", "cup-110, next mix ")
	note("press-3", "cup-110, has dial-bend now, next mix ")
	b.click(`[name="ink"][value="dial-satin"]`)
	chosen("press-2")
	b.sees(".start-what", "dial-satin → press-2")
	note("press-1", "cup-110, has gauge-quick now, next mix ")
	note("press-2", "cup-110, empty")
	b.looks("start-other-ink", wide, tall, phone)
	b.click(`[name="ink"][value="gauge-quick"]`)
	chosen("press-1")
	b.click(`[name="where"][value="press:press-1"]`)
	b.click(`[name="ink"][value="dial-satin"]`)
	b.sees(".start-bar", "press-1 prints gauge-quick now: dial-satin is another ink.")
	chosen("press-1")
}

// TestSoundIsReachableWhereItSounds: the tones are turned on beside the bar, and the menu's way back names the mix only
// where there is one.
func TestSoundIsReachableWhereItSounds(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 390, 844)
	b.open(f)
	pressed := func(is string) {
		t.Helper()
		b.eventually("sound is "+is, fmt.Sprintf(`document.querySelector("#strip .sound").checkVisibility() && document.querySelector("#strip .sound").getAttribute("aria-pressed") === %q`, is))
	}
	pressed("false")
	b.click("#strip .sound")
	pressed("true")
	b.looks("stage-sound", wide, tall, phone)
	b.press("Menu")
	b.sees("dialog", "Back to the mix")
	b.sees("dialog nav a[href='/help']", "Help")
}

// TestAlarmsNameWhereTheyAre: an alarm of a batch names its ink and its press, and the strip counts the alarms that it
// opens.
func TestAlarmsNameWhereTheyAre(t *testing.T) {
	t.Parallel()
	rows := shop(time.Now())
	seen := rows["alarms"].([]view.Alarm)[0]
	seen.Name, seen.Title, seen.Subject, seen.State, seen.By = "ratio-off", "Wrong ratio", "0612-3", "acknowledged", "anna"
	rows["alarms"] = append(rows["alarms"].([]view.Alarm), seen)
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.sees("#strip", "2 alarms")
	b.run(chromedp.Evaluate[chromedp.Void](`([...document.querySelectorAll(".strip-item")].find((e) => e.innerText.includes("alarm")).click(), undefined)`))
	b.sees("dialog .alarm-name", "0612-2, dial-flat on press-2: Batch ends soon")
	b.sees("dialog .alarm-name", "0612-3, dial-bend: Wrong ratio")
	if n := eval[int](b, `[...document.querySelectorAll("dialog .alarm")].filter((e) => e.checkVisibility()).length`); n != 2 {
		t.Errorf("%d alarms are listed", n)
	}
	b.looks("alarms-named", phone, wide)
}

// TestTheMenuLeadsBackToWhatIsThere: while whose cup it is is asked, there is no mix to go back to.
func TestTheMenuLeadsBackToWhatIsThere(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scale := scaleRow(now, 119.6, true, "", nil)
	scale.WhichCup = []string{"0612-4", "0612-7"}
	rows["scales"] = []view.Scale{scale}
	first := rows["batches"].([]view.Batch)[0]
	first.Aside = true
	rows["batches"].([]view.Batch)[0] = first
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.sees(".which-cup", "Whose cup")
	b.press("Menu")
	b.eventually("the way back", `[...document.querySelectorAll("dialog.folded button")].some((e) => e.innerText === "Back")`)
}

// TestTheBoardCallsNoOldMixReady: a mix past its time waits for no press.
func TestTheBoardCallsNoOldMixReady(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	old := openBatch(now, "0612-5", "dial-satin", "", -time.Hour, time.Hour, 2*time.Hour)
	old.For = "press-3"
	rows["batches"] = append(rows["batches"].([]view.Batch), old)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.openAt(f, "/presses")
	b.sees(".board", "0612-5 · dial-satin has waited too long: look at it first")
}

// TestWrongCanNamesAnotherInkOrLot: of a pour that was taken, and of what is not taken yet.
func TestWrongCanNamesAnotherInkOrLot(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := cansShop(now)
	mix := rows["batches"].([]view.Batch)[0]
	mix.Pours = []view.Pour{{Seq: 41, Part: "ink", G: 85, At: now.Add(-3 * time.Minute), Step: "ink"}}
	rows["batches"].([]view.Batch)[0] = mix
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	b.press("Wrong can…")
	b.skip(600 * time.Millisecond)
	b.run(chromedp.Evaluate[chromedp.Void](`[...document.querySelectorAll("dialog .option")].filter((e) => e.innerText.includes("Another ink, hardener or lot")).at(-1).click()`))
	b.sees("dialog", "Which can did it come from?")
	b.sees("dialog", "not of this recipe")
	b.looks("dialog-wrong-source", phone)
	b.skip(600 * time.Millisecond)
	contaminated := mix
	contaminated.Pours = []view.Pour{{Seq: 41, Part: "ink", G: 85, At: now.Add(-3 * time.Minute), Step: "ink", Material: "dial-flat"}}
	f.answer("correct", 200, contaminated)
	b.option("dial-bend")
	b.closed()
	want(t, f.body(t, "batches/0612-4/correct"), "pour", 41, "part", "ink", "material", "dial-bend")
	b.sees(".stage", "85.0 g of dial-flat are in this mix of dial-satin.")
	b.eventually("nothing is poured", `!document.querySelector(".stage .pour-place").checkVisibility() && !document.querySelector(".stage .head-line").checkVisibility()`)
	b.looks("stage-contaminated", wide, tall, phone)
	b.press("Use it all the same…")
	b.sees("dialog", "Use it for this reason")
}
