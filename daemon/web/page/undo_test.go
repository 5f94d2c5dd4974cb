package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
)

// The last change is shown with ten seconds to undo it, on both pages.
func TestUndo(t *testing.T) {
	t.Parallel()
	for _, path := range batchPages {
		now := time.Now()
		f, b := newFakeBench(t, restShop(now)), openBrowser(t, 1280, 800)
		b.openAt(f, path)
		moved := openBatch(now, "0612-1", "dial-satin", "press-3", 5*time.Hour, 6*time.Hour, 7*time.Hour)
		moved.Seq = 41
		f.answer("move", 200, moved)
		b.act("Move…", "0612-1")
		b.option("press-3, free")
		b.closed()
		b.sees(".undo-bar", "Moved 0612-1 to press-3")
		b.sees(".undo-bar", "Undo (10)")
		b.skip(2 * time.Second)
		b.sees(".undo-bar", "Undo (8)")
		b.looks("undo"+path[1:], wide, phone)
		b.click(`.undo-bar button`)
		want(t, f.body(t, "batches/0612-1/undo"), "seq", 41)
		b.sees(".undo-bar", "Undone: Moved 0612-1 to press-3")

		b.expect("409")
		f.answer("undo", 409, problem(409, "it was more than ten seconds ago"))
		f.answer("good", 200, moved)
		b.act("Looked: still good", "0612-1")
		b.sees(".undo-bar", "Looked at 0612-1: still good")
		b.click(`.undo-bar button`)
		b.sees(".undo-bar", "it was more than ten seconds ago")
		b.eventually("the bar is gone", `document.querySelector(".undo-bar").hidden`)
	}
}

// Two taps of a real finger within half a second, the second on what the first brought up
// or on the same button again: only the first counts. A tap elsewhere counts.
func TestSecondTapOfAFinger(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, restShop(now)), openBrowser(t, 1280, 800)
	b.open(f)
	tap := func(words string, n int) {
		t.Helper()
		find := fmt.Sprintf(`[...document.querySelectorAll("button")].find((e) => e.checkVisibility() && (e.getAttribute("aria-label") ?? e.innerText) === %q)`, words)
		b.eventually(words, find+" !== undefined")
		b.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
			const e = %s;
			e.scrollIntoView();
			const r = e.getBoundingClientRect();
			for (let i = 0; i < %d; i++) {
				const at = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
				at.dispatchEvent(new MouseEvent("click", {detail: 1, bubbles: true, cancelable: true, clientX: r.x + r.width / 2 + i, clientY: r.y + r.height / 2}));
			}
		})()`, find, n)))
	}
	tap("Looked: still good (0612-1)", 3)
	f.body(t, "batches/0612-1/good")
	tap("Looked: still good (0612-2)", 1)
	f.body(t, "batches/0612-2/good")
	if sent := f.changes(); len(sent) != 2 {
		t.Errorf("three quick taps and one elsewhere sent %v", sent)
	}
}

// What stands where the button of a dialog was, when the bench has answered and it has closed, was not meant
// by the second tap: on a page without batches too.
func TestSecondTapWhereADialogWas(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	running := rows["inks"].([]view.Ink)[0]
	running.JarTest = &view.JarTest{MixedAt: now, Jars: []view.Jar{{Jar: 1, TemperatureC: 20, HumidityPct: 33.1, Salt: "magnesium-chloride", LookFrom: now, Expected: now, Until: now}}}
	f.answer("start-jars", 200, running)
	f.answer("look-at-jar", 200, running)
	b.openAt(f, "/devices")
	b.act("Test in jars…", "dial-satin")
	b.fillsTheJars()
	// tap tells whether a tap counted; after it some time passes before the page hears of the bench.
	tap := func(find string, passes time.Duration) bool {
		t.Helper()
		return eval[bool](b, fmt.Sprintf(`(() => {
			const counted = %s.dispatchEvent(new MouseEvent("click", {detail: 1, bubbles: true, cancelable: true, clientX: 195, clientY: 700}));
			skip(%d);
			return counted;
		})()`, find, passes.Milliseconds()))
	}
	gone := `document.querySelector('button[aria-label="Gone off (Jar 1)"]')`
	tap(`document.querySelector("dialog[open] [type=submit]")`, 450*time.Millisecond) // so long the bench needs to answer
	b.closed()
	b.eventually("the jars", gone+" !== null")
	b.skip(350 * time.Millisecond)
	if tap(gone, 500*time.Millisecond) {
		t.Error("the second tap counted")
	}
	if !tap(gone, 0) {
		t.Error("a later tap did not count")
	}
	f.body(t, "inks/dial-satin/look-at-jar")
}
