package page

import (
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/guide"
)

// TestNoQuestionBreachesWCAG: nor does a dialog that asks something because of how things stand, or that no button with
// an ellipsis leads to. TestNoDialogBreachesWCAG opens the others.
func TestNoQuestionBreachesWCAG(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	now := time.Now()
	for _, c := range []struct {
		name, path string
		rows       func() map[string]any
		open       func()
		shows      string
	}{
		{"alarms, folded", "/", pouringShop(now), b.strip("alarm"), "Alarms"},
		{"batches, folded", "/", pouringShop(now), b.strip("batches"), "Open batches"},
		{"mixes that wait, folded", "/", pouringShop(now), b.strip("mixes wait"), "Mixes that wait"},
		{"lights, folded", "/", pouringShop(now), b.strip("Lights"), "Lights"},
		{"menu", "/", pouringShop(now), b.strip("Menu"), "Menu"},
		{"wrong can", "/", pouringShop(now), func() { b.press("Wrong can…") }, "17.0 g of hardener"},
		{"another cup", "/", func() map[string]any {
			rows := shop(now)
			scenes["stuck"](rows, now)
			rows["batches"].([]view.Batch)[0].OtherCups = otherCups
			return rows
		}, func() { b.press("Pour it into another cup…") }, "weighed first"},
		{"an expired can", "/", func() map[string]any {
			rows := shop(now)
			expiredCan(rows, now)
			return rows
		}, func() {
			b.sees(".mix .main", "First: is can hardener-2 still to be used?")
			b.click(".mix .main")
		}, "The last day of hardener can hardener-2"},
		{"a second mix", "/", readyShop(now, 5*time.Hour), func() {
			b.press("Start another mix…")
			b.click("[name=where][value='press:press-2']")
			b.sees(".start-bar", "There is a mix for press-2 already")
			b.press("Start this mix")
		}, "Start another mix for press-2?"},
		{"what becomes of a cup", "/", readyShop(now, 5*time.Hour), func() { b.press("It is on press-2") }, "0612-2 comes off press-2"},
		{"a scrapped cup", "/", readyShop(now, 5*time.Hour), func() {
			b.press("It is on press-2")
			b.sees("dialog", "0612-2 comes off press-2")
			b.skip(time.Second)
			b.option("Scrapped")
		}, "How much of 0612-2 is scrapped?"},
		{"dead ink that is called good", "/", readyShop(now, -3*time.Hour), func() { b.press("Looked: still good") }, "does it run off the spatula"},
		{"a look before the load", "/", readyShop(now, -10*time.Minute), func() {
			b.act("Move…", "0612-5")
			b.option("press-3, free")
		}, "If it is thick, stringy or gelled, scrap it."},
		{"which cup", "/presses", readyShop(now, 5*time.Hour), func() { b.act("Load…", "press-3") }, "0612-5"},
		{"more of a can", "/cans", func() map[string]any { return cansShop(now) }, func() { b.act("More…", "ink-4") }, "Mark as empty…"},
		{"an empty can", "/cans", func() map[string]any { return cansShop(now) }, func() {
			b.act("More…", "ink-4")
			b.option("Mark as empty…")
		}, "Is ink-4 empty?"},
		{"an opened can", "/cans", func() map[string]any { return cansShop(now) }, func() { b.act("Opened…", "ink-4") }, "ink-4"},
		{"a print of a closed batch", "/batches/0611-2", func() map[string]any { return cansShop(now) }, func() { b.clickHaving("button", "A print was tested…") }, "often tested a day later"},
		{"a check of a scale", "/devices", func() map[string]any { return shop(now) }, func() { b.act("Check…", "scale-1") }, "The pan is empty"},
		{"a correction", "/devices", correctedShop(now), func() { b.act("Correct its readings…", "bench-air") }, "You can take the correction back."},
		{"a correction taken back", "/devices", correctedShop(now), func() { b.act("Stop correcting…", "floor-air") }, "Use its readings as they are"},
	} {
		f := newFakeBench(t, c.rows())
		f.recipe = coarseRecipe()
		b.openAt(f, c.path)
		c.open()
		b.sees("dialog[open]", c.shows)
		b.accessible(axe, c.name, phone)
	}
}

// strip opens what a button of the strip above a mix stands for.
func (b *browser) strip(words string) func() {
	return func() { b.clickHaving(".strip-item", words) }
}

// pouringShop has a mix of which two pours are taken, and another one that waits.
func pouringShop(now time.Time) func() map[string]any {
	return func() map[string]any {
		rows := shop(now)
		scenes["waiting"](rows, now)
		mixing := mixingAt(now, guide.StirHardener)
		mixing.Pours = []view.Pour{{Seq: 31, Part: "ink", G: 85, At: now.Add(-2 * time.Minute), Step: "ink"}, {Seq: 35, Part: "hardener", G: 17, At: now.Add(-time.Minute), Step: "hardener"}}
		rows["batches"].([]view.Batch)[0] = mixing
		return rows
	}
}

// readyShop has a mix for a press that holds another, safe for so long.
func readyShop(now time.Time, safe time.Duration) func() map[string]any {
	return func() map[string]any {
		rows := restShop(now)
		next := addWaiting(rows, now, "dial-satin", safe, safe+time.Hour, safe+2*time.Hour)
		rows["presses"].([]view.Press)[1].Next = next.ID
		return rows
	}
}

// correctedShop has a sensor whose check leads to a correction, and one that is corrected.
func correctedShop(now time.Time) func() map[string]any {
	return func() map[string]any {
		rows := shop(now)
		correction := view.SensorCorrection{OffsetPct: 1, Gain: 1.01, ChangesPct: 1.5, UncertaintyPct: 0.8}
		sensors := rows["sensors"].([]view.Sensor)
		sensors[0].CorrectionOffered = &correction
		used := correction
		used.At, used.By = at(now.Add(-time.Hour)), "local"
		sensors[1].Correction = &used
		return rows
	}
}
