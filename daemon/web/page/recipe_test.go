package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
)

// A press for which there is a mix already, or which prints another ink, is named beside the button at every
// size. A second mix is asked about.
func TestASecondMixForThePress(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := restShop(now)
	addWaiting(rows, now, "dial-flat", 5*time.Hour, 6*time.Hour, 7*time.Hour)
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	f.recipe = coarseRecipe()
	b.open(f)
	b.press("Start another mix…")
	b.run(chromedp.Evaluate[chromedp.Void](`(() => { const e = document.querySelector("[name=where][value='press:press-2']"); e.checked = true; e.dispatchEvent(new Event("change", {bubbles: true})); })()`))
	b.sees(".start-bar", "press-2 prints dial-flat now: dial-satin is another ink.")
	b.sees(".start-bar", "There is a mix for press-2 already: 0612-5 (dial-flat), ready for press-2.")
	for _, s := range []size{wide, tall, phone} {
		b.run(chromedp.EmulateViewport(s.width, s.height), chromedp.Evaluate[chromedp.Void](`document.querySelector(".start-form").scrollIntoView()`))
		b.eventually("drawn", twoFrames)
		for _, part := range []string{".start-bar .start-other", ".start-bar .start-other + .start-other"} {
			if is := eval[string](b, fmt.Sprintf(onTop, part)); is != "" {
				t.Errorf("%dx%d: %s %s", s.width, s.height, part, is)
			}
		}
	}
	b.looks("second-mix", wide, tall, phone)
	f.answer("batches", 201, openBatch(now, "0612-9", "dial-satin", "", 0, 0, 0))
	b.press("Start this mix")
	b.sees("dialog", "Start another mix for press-2?")
	if sent := f.changes(); len(sent) != 0 {
		t.Errorf("begun without an answer: %v", sent)
	}
	b.press("Start this mix")
	b.closed()
	f.body(t, "batches")
}

// On a low, wide screen every choice for a mix is whole and in sight above the bar that starts it, since each decides
// about the thinner, the ink or the cup.
func TestChoicesOfAMixAreInSight(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["idle"](rows, now)
	rows["air"] = shop(now)["air"]
	f, b := newFakeBench(t, rows), openBrowser(t, int(wide.width), int(wide.height))
	f.recipe = coarseRecipe()
	ends := view.Ends{Expected: now.Add(5 * time.Hour), Low: now.Add(4 * time.Hour), High: now.Add(6 * time.Hour)}
	f.recipe.Life = &view.NewLife{Zone: "floor", From: now, EndsAt: ends, Quality: view.QualityGood}
	f.recipe.SmallerCup = &view.SmallerCup{Cup: "cup-70", InkG: 40, TotalG: 55, Life: f.recipe.Life}
	b.open(f)
	b.sees(".start-sum", "Mixed now it lasts")
	b.sees(".start-sum", "In cup-70")
	for _, s := range []size{wide, {1366, 768}} {
		b.run(chromedp.EmulateViewport(s.width, s.height))
		b.redrawn(s)
		for _, found := range eval[[]string](b, coveredChoices) {
			t.Errorf("%dx%d: %s", s.width, s.height, found)
		}
	}
	b.looks("choices", wide)
}

// coveredChoices lists the choices of the form that are not wholly on the screen, or that something lies over.
const coveredChoices = `[...document.querySelectorAll(".start-form .chip, .start-form .main, .start-sum > *")].filter((e) => e.checkVisibility()).map((e) => {
	const r = e.getBoundingClientRect();
	if (r.top < 0 || r.bottom > innerHeight) return e.innerText + " ends at " + Math.round(r.bottom) + " px of " + innerHeight;
	const over = [r.top + 3, r.bottom - 3].map((y) => document.elementFromPoint(r.left + r.width / 2, y)).find((there) => !e.contains(there) && !there.contains(e));
	return over ? e.innerText + " at " + Math.round(r.top) + " px is covered by " + over.className : "";
}).filter(Boolean)`

// Before anything is poured the page says what the mix comes to, why, and whether the
// scale is fine enough; and asks why another share of thinner is wanted.
func TestWhatTheNextMixComesTo(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["idle"](rows, now)
	rows["batches"] = []view.Batch{}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	f.recipe = coarseRecipe()
	lives := func(expected, low time.Duration) *view.NewLife {
		day := time.Date(2026, 6, 12, 0, 0, 0, 0, time.Local)
		return &view.NewLife{Zone: "floor", From: day.Add(9 * time.Hour), EndsAt: view.Ends{Expected: day.Add(expected), Low: day.Add(low), High: day.Add(16 * time.Hour)}, Quality: view.QualityGood}
	}
	f.recipe.Life = lives(14*time.Hour+40*time.Minute, 13*time.Hour+20*time.Minute)
	f.recipe.SmallerCup = &view.SmallerCup{Cup: "cup-70", InkG: 40, TotalG: 55, Life: lives(14*time.Hour+52*time.Minute, 13*time.Hour+31*time.Minute)}
	b.open(f)
	b.sees(".start-sum", "Mixed now it lasts until about 14:40; safe to 13:20.")
	b.sees(".start-sum", "In cup-70, 40 g of ink: until about 14:52, safe to 13:31.")
	b.sees(".start-sum", "85.0 g of ink, 17.0 g of hardener, 7.1 g of thinner: 109.1 g in all.")
	b.sees(".start-how", "dark, motif normal")
	b.sees(".recipe", "7.1 g ± 5 g, about 4 pipettes.")
	b.sees(".recipe", "where dark colours start")
	b.sees(".recipe", "Scale is too coarse.")
	b.sees(".recipe", "From 208 g of ink on it would do")
	for _, s := range []size{wide, tall, phone} {
		b.run(chromedp.EmulateViewport(s.width, s.height))
		// A phone has room for what is mixed for which press, and until when that is safe; the rest is above it.
		beside := ".recipe-what"
		if s == phone {
			beside = ".start-for"
			b.sees(beside, "dial-satin → press-3")
			b.sees(beside, "safe to 13:20")
			b.eventually("the foot is small", `document.querySelector(".start-bar").getBoundingClientRect().height < 90`)
			b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector(".start-sum").scrollIntoView({block: "center"})`))
			if is := eval[string](b, fmt.Sprintf(onTop, ".recipe-what")); is != "" {
				t.Errorf("%s %s", ".recipe-what", is)
			}
			b.run(chromedp.Evaluate[chromedp.Void](`scrollTo(0, 0)`))
			if is := eval[string](b, fmt.Sprintf(onTop, "[name=where]")); is != "" {
				t.Errorf("the choice of the press %s", is)
			}
		}
		for _, part := range []string{beside, ".start-what", ".start-how", ".start-form .main"} {
			b.eventually("drawn", twoFrames)
			if is := eval[string](b, fmt.Sprintf(onTop, part)); is != "" {
				t.Errorf("%dx%d: %s %s", s.width, s.height, part, is)
			}
		}
	}
	b.looks("recipe", wide, tall, phone)
	if hidden := eval[bool](b, `!document.querySelector("[name=thinner_reason]").closest("label").checkVisibility()`); !hidden {
		t.Error("a reason is asked for although the thinner is the usual")
	}
	eval[bool](b, `(() => {
		document.querySelector(".start details").open = true;
		const e = document.querySelector("[name=thinner_pct]");
		e.value = "12";
		e.dispatchEvent(new Event("input", {bubbles: true}));
		return true;
	})()`)
	b.eventually("the reason is asked for", `document.querySelector("[name=thinner_reason]").required && document.querySelector("[name=thinner_reason]").checkVisibility()`)
	eval[bool](b, `(document.querySelector("[name=thinner_reason]").value = "a cold shop", true)`)
	f.answer("batches", 201, openBatch(now, "0612-9", "dial-satin", "", 0, 0, 0))
	b.press("Start this mix")
	if body := f.body(t, "batches"); body["thinner_pct"] != 12.0 || body["thinner_reason"] != "a cold shop" {
		t.Errorf("sent %v", body)
	}
}

// coarseRecipe is what the bench says of a mix that its scale knows too coarsely.
func coarseRecipe() *view.Recipe {
	return &view.Recipe{
		Ink: "dial-satin", Scale: "scale-1", Cup: "cup-110", TargetsG: view.Targets{Ink: 85, Hardener: 17, Thinner: 7.14}, TotalG: 109.14,
		InkMinimumG: 85, ThinnerPct: 7, ThinnerStartPct: 7, ThinnerMinPct: 6, ThinnerMaxPct: 14, TolerancePct: 5,
		Why:       []string{"85 g of ink is the least for cup-110.", "7 % of thinner to start with, where dark colours start; dial-satin takes 6 to 14 %."},
		DivisionG: 5, Grade: "coarse", RatioPct: 24.5, SmallestInkG: 208,
	}
}
