package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// A can that has stood is stirred before it is poured from: that stands above the order to pour, and
// with its button wholly on the screen, however small it is.
func TestStirringComesFirst(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	mixing := mixingAt(now, guide.Ink)
	mixing.PourFrom = []view.CanChoice{{Can: "gauge-quick-1", Material: "dial-satin", Lot: "GQ-0431", Colour: "deep blue", InUse: true, Stir: "it was never stirred"}}
	rows["batches"].([]view.Batch)[0] = mixing
	rows["scales"] = []view.Scale{scaleRow(now, 8.9, true, mixing.ID, &view.Pouring{Part: "ink", TargetG: 40, LowG: 40, HighG: 55})}
	b := openBrowser(t, int(wide.width), int(wide.height))
	b.open(newFakeBench(t, rows))
	for _, s := range []size{phone, tall, wide, zoom} {
		b.run(chromedp.EmulateViewport(s.width, s.height))
		b.sees(".stir-first", "First stir can gauge-quick-1")
		for _, part := range []string{".can-stir", ".stir-first button", ".stage .mix-head", ".pour-track", ".mix .main"} {
			if is := eval[string](b, fmt.Sprintf(onTop, part)); is != "" {
				t.Errorf("%d x %d: %s %s", s.width, s.height, part, is)
			}
		}
		if !eval[bool](b, `document.querySelector(".stir-first").getBoundingClientRect().bottom <= document.querySelector(".stage .mix-head").getBoundingClientRect().top`) {
			t.Errorf("%d x %d: the stirring is not above the order to pour", s.width, s.height)
		}
		if hidden := eval[float64](b, notesOutOfSight); s == phone && hidden > 1 {
			t.Errorf("on a phone the cans are in a box that scrolls, %v px of it out of sight", hidden)
		}
		b.keepsPicture(fmt.Sprintf("stir-first-%d", s.width))
	}
}

// A correction has one verdict at a time: once enough is poured, nothing says that it is not right yet.
func TestCorrectionHasOneVerdict(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["over"](rows, now)
	poured := func(g float64) view.Scale {
		return scaleRow(now, 120+g, true, "0612-4", &view.Pouring{Part: mix.Ink, PouredG: g, TargetG: 10.4, LowG: 10.3, HighG: 20.2})
	}
	rows["scales"] = []view.Scale{poured(2)}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".corrections", "Not right yet")
	b.sees(".stage .mix-head", "Add ink")
	if is := eval[string](b, `document.querySelector(".stage .steps [aria-current]").innerText`); is != "Correction" {
		t.Errorf("the marked step is %q while the title says to add ink", is)
	}
	// Either of two is enough, and both are in sight on a phone.
	b.sees(".corrections", "Pour one of these")
	b.sees(".correction:nth-child(2)", "or Add 15.0 g of ink")
	b.run(chromedp.EmulateViewport(phone.width, phone.height))
	for _, part := range []string{".correction:nth-child(1) strong", ".correction:nth-child(2) strong", ".mix .main"} {
		if is := eval[string](b, fmt.Sprintf(onTop, part)); is != "" {
			t.Errorf("on a phone %s %s", part, is)
		}
	}
	b.looks("corrections", phone, wide)
	b.run(chromedp.EmulateViewport(1280, 800))
	f.send("scale", poured(11))
	b.sees(".pour", "It is right")
	b.eventually("the note agrees with the bar", `!document.querySelector(".corrections").innerText.includes("Not right yet")`)
	b.sees(".corrections", "One of these puts the mix right")
}

// Words are whole on a phone, in the head of what is folded and on the buttons for rejects.
func TestWordsAreWhole(t *testing.T) {
	t.Parallel()
	now := time.Now()
	b := openBrowser(t, int(phone.width), int(phone.height))
	b.open(newFakeBench(t, shop(now)))
	b.run(chromedp.Evaluate[chromedp.Void](`([...document.querySelectorAll(".strip-item")].find((e) => e.innerText.includes("alarm")).click(), undefined)`))
	b.sees(".folded-head", "Alarms")
	for _, word := range eval[[]string](b, fmt.Sprintf(brokenWords, ".folded-head h2")) {
		t.Errorf("broken: %s", word)
	}
	rows := shop(now)
	kinds := rejectsOf(11, 0)
	for i := range kinds {
		kinds[i].Today = 12 // the count takes its room from the word
	}
	rows["presses"].([]view.Press)[0].Defects = kinds
	b.openAt(newFakeBench(t, rows), "/presses")
	b.act("Report rejects", "press-1")
	b.eventually("the buttons", `document.querySelector(".reject-words")?.checkVisibility()`)
	for _, word := range eval[[]string](b, fmt.Sprintf(brokenWords, ".reject-words")) {
		t.Errorf("broken: %s", word)
	}
}

// brokenWords lists the words of some elements that stand on more than one line.
const brokenWords = `[...document.querySelectorAll(%q)].filter((e) => e.checkVisibility()).flatMap((e) => [...e.childNodes]).filter((n) => n.nodeType === 3).flatMap((n) =>
	[...n.data.matchAll(/\S+/g)].filter((m) => {
		const range = document.createRange();
		range.setStart(n, m.index);
		range.setEnd(n, m.index + m[0].length);
		return new Set([...range.getClientRects()].map((r) => Math.round(r.top))).size > 1;
	}).map((m) => m[0]))`
