package page

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/guide"
	"potlifed/model/light"
)

// wallShop has so many presses, in an order other than that of their next mixes: press-1's comes
// last. Of every light's meaning there is one, as far as the presses reach.
func wallShop(now time.Time, presses int) map[string]any {
	rows := shop(now)
	var all []view.Press
	batches := []view.Batch{}
	for i := range presses {
		id, batch := fmt.Sprintf("press-%d", i+1), fmt.Sprintf("0612-%d", i+1)
		end := time.Duration(presses-i)*40*time.Minute + 20*time.Minute
		p := view.Press{ID: id, Zone: "floor", Cup: "cup-110", Batch: &batch, Light: light.InOrder, Cause: light.EnoughLife, Reason: "enough life left"}
		switch i {
		case 1:
			p.Light, p.Cause, p.Reason = light.Unknown, light.FiguresUnknown, "the air or the age of the batch is not known"
		case 2:
			p.Light, p.Cause, p.Flashing, p.Reason = light.Soon, light.EndsSoon, true, "ends soon: make the next mix"
			end = 10 * time.Minute
		case 3:
			p.Light, p.Cause, p.Batch = light.Empty, light.NothingLoaded, nil
		case 4:
			p.Light, p.Cause, p.Flashing, p.Reason = light.DoNotPrint, light.RiskTooHigh, true, "too likely to have gone off"
		case 5:
			p.Light, p.Cause, p.Reason = light.Soon, light.AgeUncertain, "check the ink: its age is not sure"
		}
		if p.Batch != nil {
			batches = append(batches, openBatch(now, batch, "dial-satin", id, end, end+30*time.Minute, end+time.Hour))
		}
		all = append(all, p)
	}
	if presses > 3 { // the empty one's mix is at the scale, and the next one of press-7 is ready
		coming := mixingAt(now, guide.Hardener)
		coming.For, all[3].Next = "press-4", coming.ID
		batches = append(batches, coming)
	}
	if presses > 6 {
		ready := openBatch(now, "0612-30", "dial-flat", "", 6*time.Hour, 7*time.Hour, 8*time.Hour)
		ready.For, all[6].Next = "press-7", ready.ID
		batches = append(batches, ready)
	}
	rows["presses"], rows["batches"], rows["scales"] = all, batches, []view.Scale{}
	return rows
}

// The wall is read at 4 m on a screen of 32 inches, 708 by 398 mm: letters that are read without
// effort have 22 minutes of arc, which is a capital of 4 m * tan(22') = 25.6 mm.
const smallLetters = `[...document.querySelectorAll(".wall-name, .wall-verdict, .wall-next, .wall-head > :last-child, #no-contact strong")].filter((e) => e.checkVisibility() && e.innerText.trim()).map((e) => {
	const style = getComputedStyle(e), pen = document.createElement("canvas").getContext("2d");
	pen.font = style.fontWeight + " " + style.fontSize + " " + style.fontFamily;
	return [e, pen.measureText("H").actualBoundingBoxAscent * 708 / 1920];
}).filter(([, mm]) => mm < 25.6).map(([e, mm]) => e.innerText + " " + mm.toFixed(1) + " mm")`

// offTheWall lists texts that are not wholly on the screen, or that lie over another one.
const offTheWall = `(() => {
	const all = [...document.querySelectorAll("#no-contact, .wall-head > *, .wall-line > :not(.wall-when), .wall-when > .wall-next")].filter((e) => e.checkVisibility() && e.getBoundingClientRect().width > 0);
	const boxes = all.map((e) => [e, e.getBoundingClientRect()]);
	const off = boxes.filter(([e, r]) => r.left < 0 || r.top < 0 || r.right > innerWidth || r.bottom > innerHeight || e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== "inline").map(([e]) => "off: " + e.innerText);
	const over = boxes.flatMap(([e, r], i) => boxes.slice(i + 1).filter(([, o]) => Math.min(r.right, o.right) - Math.max(r.left, o.left) > 1 && Math.min(r.bottom, o.bottom) - Math.max(r.top, o.top) > 0.1 * r.height).map(([o]) => e.innerText + " over " + o.innerText));
	return [...off, ...over];
})()`

// openWall shows the wall, whose head with the words of the contact is hidden.
func (b *browser) openWall(f *fakeBench) {
	b.t.Helper()
	b.stopsTimeAt(f.made)
	b.run(chromedp.Navigate(f.URL + wallPage))
	b.eventually("contact", `document.body.dataset.contact === "live" && document.querySelector(".wall-line") !== null && document.getAnimations().every((a) => a.animationName !== "wall-turn" || a.playState === "finished")`)
}

// TestWallIsReadFromAfar: by day, and in the evening, when most times are of the day after; with
// contact and, the banner with it, without.
func TestWallIsReadFromAfar(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 1920, 1080)
	b.expect("503")
	day := time.Date(2026, 6, 12, 9, 0, 0, 0, time.Local)
	evening := day.Add(13*time.Hour + 30*time.Minute)
	for _, made := range []struct {
		presses int
		at      time.Time
	}{{1, day}, {3, evening}, {8, day}, {8, evening}, {12, evening}} {
		what := fmt.Sprintf("%d presses at %s", made.presses, made.at.Format("15:04"))
		rows := wallShop(made.at, made.presses)
		if made.presses == 3 {
			rows["presses"].([]view.Press)[0].Reason = "Enough life left. The next mix, 0612-5, is ready. It flashes for an alarm that nobody has acknowledged: Life got shorter."
		}
		if made.presses != 3 { // and alarms with few words and with many
			alarms := rows["alarms"].([]view.Alarm)
			alarms[0].Subject, alarms[0].Title = "sensor-"+strings.Repeat("y", made.presses*2), "Sensor values cannot be right"
		}
		f := newFakeBench(t, rows)
		f.made = made.at
		b.openWall(f)
		b.eventually("its lines", fmt.Sprintf(`document.querySelectorAll(".wall-line").length === %d`, min(made.presses, 8)))
		if cut := eval[[]string](b, `[...document.querySelectorAll(".wall-note")].filter((e) => e.scrollWidth > e.clientWidth + 1).map((e) => e.innerText)`); len(cut) > 0 {
			t.Errorf("%s: cut off: %q", what, cut)
		}
		b.eventually("it has turned", "document.getAnimations().length === 0 || document.getAnimations().every((a) => a.playState === 'finished' || a.animationName.startsWith('flash'))")
		b.isReadFromAfar(what)
		b.timesAreTold(what)
		if n := eval[int](b, `[...document.querySelectorAll("button, a, input, nav")].filter((e) => e.checkVisibility() && !e.matches(".skip")).length`); n != 0 {
			t.Errorf("%d things can be pressed", n)
		}
		f.cut()
		b.skip(45 * time.Second)
		b.sees("#no-contact", "No contact.")
		b.eventually("all of it is drawn", `[...document.querySelectorAll(".wall-next")].every((e) => e.innerText === "?") && new Promise((done) => setTimeout(() => done(true), 1100))`)
		b.isReadFromAfar(what + " without contact")
	}
}

// isReadFromAfar fails for what of the wall is cut, lies over something else, or is too small.
func (b *browser) isReadFromAfar(what string) {
	b.t.Helper()
	for _, dark := range []string{"light", "dark"} {
		b.run(media("prefers-color-scheme", dark))
		for _, script := range []string{offTheWall, faintText} {
			for _, found := range eval[[]string](b, script) {
				b.t.Errorf("%s: %s", what, found)
			}
		}
		b.keepsPicture(strings.NewReplacer(" ", "-", ":", "").Replace("wall " + what + " " + dark))
	}
	for _, found := range eval[[]string](b, smallLetters) {
		b.t.Errorf("%s: too small to be read at 4 m: %s", what, found)
	}
}

// TestWallHasWholeNames: the id of a press is read from afar too, however long it is and however many presses there
// are, and each press stands on one of the pages that turn.
func TestWallHasWholeNames(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 1920, 1080)
	evening := time.Date(2026, 6, 12, 22, 30, 0, 0, time.Local)
	for _, c := range []struct {
		presses int
		name    string // before the number of the press
		pages   int
	}{
		{8, "hall-a-", 1}, {8, "machine", 2}, {12, "hall-a-", 3}, // 8 letters, 8 wide ones, and 9
		{1, "tampo-line-", 1}, {2, "tampo-line-", 1}, {4, "tampo-line-", 1}, {5, "tampo-line-", 2}, {12, "tampo-line-", 3},
		{8, "north-hall-pad-", 2}, {3, "press-beside-the-window-hall-", 1}, // 16 letters, and nearly as many as there may be
	} {
		what := fmt.Sprintf("%d presses such as %s1", c.presses, c.name)
		rows := wallShop(evening, c.presses)
		presses, want := rows["presses"].([]view.Press), map[string]bool{}
		for i := range presses {
			presses[i].ID = strings.Replace(presses[i].ID, "press-", c.name, 1)
			want[presses[i].ID] = true
		}
		for i, batch := range rows["batches"].([]view.Batch) {
			if batch.Press != nil {
				rows["batches"].([]view.Batch)[i].Press = at(strings.Replace(*batch.Press, "press-", c.name, 1))
			}
		}
		f := newFakeBench(t, rows)
		f.made = evening
		b.openWall(f)
		for page := range c.pages {
			b.eventually("the page", fmt.Sprintf(`%d < 2 || document.querySelector(".wall-page-number").innerText === "%d / %d"`, c.pages, page+1, c.pages))
			b.eventually("it has turned", "document.getAnimations().every((a) => a.playState === 'finished' || a.animationName.startsWith('flash'))")
			b.isReadFromAfar(fmt.Sprintf("%s page %d", what, page+1))
			for _, name := range eval[[]string](b, `[...document.querySelectorAll(".wall-name")].map((e) => e.innerText)`) {
				delete(want, name)
			}
			b.run(chromedp.KeyEvent(kb.ArrowRight))
		}
		if len(want) > 0 {
			t.Errorf("%s: not on the wall: %v", what, want)
		}
	}
}

// timesAreTold fails where the time at which the next mix must begin is not the larger one of a line.
func (b *browser) timesAreTold(what string) {
	b.t.Helper()
	const alike = `[...document.querySelectorAll(".wall-line")].filter((line) => /\d\d:\d\d/.test(line.querySelector(".wall-next").innerText)).filter((line) => {
		const [safe, next] = [".wall-verdict", ".wall-next"].map((one) => getComputedStyle(line.querySelector(one)));
		return parseFloat(next.fontSize) < parseFloat(safe.fontSize) || Number(next.fontWeight) <= Number(safe.fontWeight);
	}).map((line) => line.innerText)`
	for _, found := range eval[[]string](b, alike) {
		b.t.Errorf("%s: how long the ink is safe is as large as when to mix: %s", what, found)
	}
}

// The lines come in the order in which their next mix must begin, and a page of eight turns by itself.
func TestWallTurns(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 6, 12, 9, 0, 0, 0, time.Local)
	f, b := newFakeBench(t, wallShop(now, 12)), openBrowser(t, 1920, 1080)
	f.made = now
	b.expect("503")
	b.openWall(f)
	names := `[...document.querySelectorAll(".wall-name")].map((e) => e.innerText.slice(6)).join(" ")`
	first, second := "5 3 12 11 10 9 8 7", "6 2 1 4"
	b.eventually("first those whose mix must begin first", fmt.Sprintf(`%s === %q`, names, first))
	b.sees(".wall-page-number", "1 / 2")
	clock := func(d time.Duration) string { return now.Add(d).Local().Format("15:04") }
	b.eventually("what each says", fmt.Sprintf(`[...document.querySelectorAll(".wall-line")].slice(0, 3).map((e) => e.querySelector(".wall-verdict").innerText + ", " + e.querySelector(".wall-next").innerText).join("; ") === %q`,
		"Do not print, now; safe to "+clock(10*time.Minute)+", now; safe to "+clock(60*time.Minute)+", "+clock(45*time.Minute)))
	b.sees(".wall-alarms", "1 alarm, 0612-2, dial-")
	b.sees(".wall-clock", clock(0))
	b.skip(12 * time.Second)
	b.eventually("it turns", fmt.Sprintf(`%s === %q`, names, second))
	b.sees(`[data-meaning="empty"] .wall-next`, "mix begun")
	b.sees(`[data-meaning="unknown"] .wall-verdict`, "Not known")
	if line := eval[string](b, `getComputedStyle(document.querySelector('[data-meaning="unknown"] .wall-next')).textDecorationLine`); line != "line-through" {
		t.Errorf("a time that is not known looks sure: %q", line)
	}
	b.run(chromedp.KeyEvent(" ")) // stops it
	b.skip(12 * time.Second)
	b.eventually("drawn again", `new Promise((done) => setTimeout(() => done(true), 1100))`)
	b.eventually("it waits", fmt.Sprintf(`%s === %q`, names, second))
	b.run(chromedp.KeyEvent(kb.ArrowRight))
	b.eventually("a key turns it", fmt.Sprintf(`%s === %q`, names, first))

	b.run(media("prefers-reduced-motion", "reduce"), chromedp.KeyEvent(kb.ArrowRight))
	b.eventually("it turns", fmt.Sprintf(`%s === %q`, names, second))
	if n := eval[int](b, "document.getAnimations().length"); n != 0 {
		t.Errorf("%d animations run although none are wanted", n)
	}
	// A service that hangs sends nothing: within three seconds no figure looks sure.
	b.skip(2600 * time.Millisecond)
	b.sees(".wall-alarms", "no contact")
	b.eventually("no figure looks sure", `getComputedStyle(document.querySelector(".wall-lines")).filter === "grayscale(1)"`)
	f.cut()
	b.skip(45 * time.Second)
	b.sees("#no-contact", "No contact.")
	b.eventually("no figure is left", `[...document.querySelectorAll(".wall-verdict")].every((e) => e.innerText === "Not known") && [...document.querySelectorAll(".wall-next")].every((e) => e.innerText === "?")`)
}

// TestAlarmsAreCountedAlike: for one state every page tells the same number of alarms, those that ask for a
// person.
func TestAlarmsAreCountedAlike(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 6, 12, 9, 0, 0, 0, time.Local)
	rows := wallShop(now, 3)
	all := rows["alarms"].([]view.Alarm)
	for i, state := range []string{"acknowledged", "returned", "shelved"} {
		a := all[0]
		a.Subject, a.State = fmt.Sprintf("0612-%d", 7+i), state
		all = append(all, a)
	}
	graver := view.Alarm{Time: now, Name: "journal", Title: "Records are not saved, or were lost", Subject: "bench-1", About: "bench", State: "unacknowledged", Priority: "high", Since: now}
	rows["alarms"] = append(all, graver)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	f.made = now
	b.openWall(f)
	b.sees(".wall-alarms", "3 alarms, first bench-1: Records are not saved, or were lost")
	for _, path := range []string{"/", "/presses", "/devices"} {
		b.openAt(f, path)
		b.sees("#alarm-count", "3 alarms not acknowledged")
	}
	b.sees("#verdict", "3 alarms stand below.")
}

// TestWallPartsPrintFromMix: what a press may print, and what is to be mixed for it, have a rule between them, and
// the words of each tell which they are.
func TestWallPartsPrintFromMix(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 6, 12, 9, 0, 0, 0, time.Local)
	rows := wallShop(now, 8)
	stopped := rows["presses"].([]view.Press)[6]
	stopped.Light, stopped.Cause = light.DoNotPrint, light.RiskTooHigh
	rows["presses"].([]view.Press)[6] = stopped
	dead := rows["presses"].([]view.Press)[2] // may end now, and no mix follows
	for i, one := range rows["batches"].([]view.Batch) {
		if one.ID == *dead.Batch {
			rows["batches"].([]view.Batch)[i] = openBatch(now, one.ID, one.Ink, dead.ID, -time.Minute, time.Minute, 20*time.Minute)
		}
	}
	f, b := newFakeBench(t, rows), openBrowser(t, 1920, 1080)
	f.made = now
	b.openWall(f)
	line := func(press string) string {
		return eval[string](b, fmt.Sprintf(`(() => { const l = [...document.querySelectorAll(".wall-line")].find((e) => e.querySelector(".wall-name").innerText === %q); return l.querySelector(".wall-verdict").innerText + " | " + l.querySelector(".wall-next").innerText })()`, press))
	}
	for press, want := range map[string]string{"press-7": "Do not print | mix ready", "press-4": "Empty | mix begun", "press-3": "May end now | now"} {
		if got := line(press); got != want {
			t.Errorf("%s: %s, want %s", press, got, want)
		}
	}
	const merged = `[...document.querySelectorAll(".wall-line")].filter((l) => {
		const rule = l.querySelector(".wall-when"), size = parseFloat(getComputedStyle(l).fontSize);
		const words = document.createRange(); words.selectNodeContents(l.querySelector(".wall-verdict"));
		return !(parseFloat(getComputedStyle(rule).borderLeftWidth) >= 0.04 * size && rule.getBoundingClientRect().left >= words.getBoundingClientRect().right + 0.1 * size && l.querySelector(".wall-next").getBoundingClientRect().left >= rule.getBoundingClientRect().left + 0.1 * size);
	}).map((l) => l.innerText)`
	for _, found := range eval[[]string](b, merged) {
		t.Errorf("nothing parts the two: %s", found)
	}
}

// TestWallNamesAnotherDay: a time that is not of today has its weekday, in the zone of the shop and
// however near it is.
func TestWallNamesAnotherDay(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Skip(err)
	}
	now := time.Date(2026, 6, 13, 3, 0, 0, 0, time.UTC) // Friday 22:00 in Chicago
	rows := wallShop(now, 3)
	press := rows["presses"].([]view.Press)[0]
	rows["presses"] = []view.Press{press}
	rows["batches"] = []view.Batch{openBatch(now, *press.Batch, "dial-satin", press.ID, 135*time.Minute, 3*time.Hour, 4*time.Hour)}
	f, b := newFakeBenchIn(t, rows, words.Locale{Zone: zone}), openBrowser(t, 1920, 1080)
	f.made = now
	b.openWall(f)
	b.sees(".wall-verdict", "safe to Sat 00:15")
	b.sees(".wall-next", "Sat 00:00")
}
