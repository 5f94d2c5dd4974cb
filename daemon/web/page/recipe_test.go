package page

import (
	"testing"
	"time"

	"potlifed/daemon/view"
)

// Before anything is poured the page says what the mix comes to, why, and whether the
// scale is fine enough; and asks why another share of thinner is wanted.
func TestWhatTheNextMixComesTo(t *testing.T) {
	now := time.Now()
	rows := shop(now)
	scenes["idle"](rows, now)
	rows["batches"] = []view.Batch{}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	f.recipe = &view.Recipe{
		Ink: "gloss-4", Scale: "scale-1", Cup: "cup-90", TargetsG: view.Targets{Ink: 60, Hardener: 15, Thinner: 7.5}, TotalG: 82.5,
		InkMinimumG: 60, ThinnerPct: 10, ThinnerStartPct: 10, ThinnerMinPct: 10, ThinnerMaxPct: 20, TolerancePct: 5,
		Why:       []string{"60 g of ink is the least for cup-90.", "10 % of thinner to start with, where dark colours start; gloss-4 takes 10 to 20 %."},
		DivisionG: 1, Grade: "coarse", RatioPct: 6.8, SmallestInkG: 80,
	}
	b.open(f)
	b.sees(".recipe", "60.0 g of ink, 15.0 g of hardener, 7.5 g of thinner: 82.5 g in all.")
	b.sees(".recipe", "7.5 g ± 1 g, about 3¾ pipettes of 2 g; 10 %, out of 10 to 20 %.")
	b.sees(".recipe", "where dark colours start")
	b.sees(".recipe", "Too coarse")
	b.sees(".recipe", "from 80 g of ink on it would do")
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
	f.answer("batches", 201, openBatch(now, "0612-9", "gloss-4", "", 0, 0, 0))
	b.press("Start this mix")
	if body := f.body(t, "batches"); body["thinner_pct"] != 12.0 || body["thinner_reason"] != "a cold shop" {
		t.Errorf("sent %v", body)
	}
}
