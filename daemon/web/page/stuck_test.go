package page

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// A mix that has no room for a correction is told in the title, nothing more is asked for, and the two ways out are the
// buttons. Enter on a keypad confirms nothing.
func TestNoRoomForACorrection(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["stuck"](rows, now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".stage .mix-head", "There is no room in this cup")
	b.sees(".stage .mix-hint", "Pour nothing more into this cup.")
	b.sees(".warnings", "28 % too much hardener.")
	if again := eval[bool](b, `document.querySelector(".stage .warnings").innerText.includes("no room")`); again {
		t.Error("the title is repeated as a warning")
	}
	shown := `[...document.querySelectorAll(".stage .actions button")].filter((e) => e.checkVisibility()).map((e) => e.innerText.trim())`
	if is, want := eval[[]string](b, shown), []string{"Use it out of ratio…", "Scrap this mix…"}; !slices.Equal(is, want) {
		t.Errorf("the buttons are %q, want %q", is, want)
	}
	// Where the shop has a larger cup, that is the third way out.
	larger := rows["batches"].([]view.Batch)[0]
	larger.OtherCups = otherCups
	f.send("batch", larger)
	b.sees(".stage .actions", "Pour it into another cup…")
	for _, none := range []string{".pour", ".pour-instead", ".corrections", ".cures"} {
		b.eventually(none+" is not shown", fmt.Sprintf(`!document.querySelector(".stage %s")?.checkVisibility()`, none))
	}
	b.press("Use it out of ratio…")
	b.sees("dialog", "No room in the cup to correct it")
	b.press("Back")
	b.closed()
	b.press("Scrap this mix…")
	b.sees("dialog", "0612-4")
}

// Where a correction itself goes too far, only its own cure is shown, with what it comes to; the correction of before
// is not.
func TestACorrectionThatGoesTooFarHasOneCure(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	b := mixingAt(now, guide.Ink)
	b.Components = []mix.Component{{Part: "ink", G: 42}}
	b.Corrections = []mix.Correction{{Add: mix.Addition{InkG: 18}, ThinnerG: 7.5, TotalG: 82.5, To: mix.ToExact}}
	rows["batches"].([]view.Batch)[0] = b
	poured := func(g float64, v guide.Verdict, cures ...guide.Cure) view.Scale {
		return scaleRow(now, 42+g, true, b.ID, &view.Pouring{Part: mix.Ink, PouredG: g, TargetG: 18, LowG: 17.95, HighG: 49.84, Verdict: v, Cures: cures})
	}
	rows["scales"] = []view.Scale{poured(5, guide.Below)}
	f, page := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	page.open(f)
	page.sees(".corrections", "Add 18.0 g of ink")
	f.send("scale", poured(60, guide.FarOver, guide.Cure{Kind: guide.TakeOut, Part: mix.Ink, G: 10.16, TotalG: 126.2, Fits: true}))
	page.sees(".pour-words", "Too much: take 10.2 g of ink out")
	page.sees(".pour-words", "up to 49.8 g in this pour is accepted; the finished mix will be 126.2 g")
	// The bar's words are drawn at once with the weight, and the rest of the stage with the next frame.
	page.eventually("the correction of before the pour is not shown", `!document.querySelector(".corrections").checkVisibility()`)
	page.eventually("one mass for one cure", `!/42\.0|18\.0\u00a0g of/.test(document.querySelector(".stage").innerText)`)
}

// What is wrong with a mix that is ready is in sight on a phone, and no button lies over it.
func TestWarningsOfAReadyMixAreInSight(t *testing.T) {
	t.Parallel()
	for _, step := range []guide.Step{guide.Load, guide.Rest} {
		now := time.Now()
		rows := shop(now)
		scenes["faulty"](rows, now)
		list := rows["batches"].([]view.Batch)
		mixed := &list[len(list)-1]
		if mixed.Step = at(step); step == guide.Rest {
			mixed.RestUntil = at(now.Add(9 * time.Minute))
		}
		b := openBrowser(t, int(phone.width), int(phone.height))
		b.open(newFakeBench(t, rows))
		b.sees(".ready .warnings", "28 % too much hardener.")
		b.sees(".ready .warnings", "Out of ratio, used because: Only for a trial print.")
		b.sees("#batches .batch-state", "Out of ratio, used because: Only for a trial print.")
		for i := range mixed.Warnings {
			if is := eval[string](b, fmt.Sprintf(onTop, fmt.Sprintf(".ready .warnings li:nth-child(%d)", i+1))); is != "" {
				t.Errorf("%s: warning %d of %d %s", step, i+1, len(mixed.Warnings), is)
			}
		}
		// Nor does it lie over the words below, however far the page has been scrolled.
		for _, part := range []string{".ready .mix-hint", ".ready .main:not([hidden])"} {
			b.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`document.querySelector(%q).scrollIntoView({block: "end"})`, part)))
			if is := eval[string](b, fmt.Sprintf(onTop, part)); is != "" {
				t.Errorf("%s: %s %s", step, part, is)
			}
		}
	}
}
