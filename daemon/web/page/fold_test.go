package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
	"potlifed/model/guide"
)

// expiredCan is a mix whose hardener would come from a can that is past its day.
func expiredCan(rows map[string]any, now time.Time) {
	mixing := mixingAt(now, guide.Hardener)
	mixing.PourFrom = []view.CanChoice{
		{Can: "hardener-2", Material: "hardener-a", Lot: "H 3", InUse: true, Expired: "The last day of hardener can hardener-2 was 2026-05-02."},
		{Can: "hardener-5", Material: "hardener-a", Lot: "H 4", Stir: "it was never stirred"},
	}
	rows["batches"].([]view.Batch)[0] = mixing
}

// On a tablet in landscape nobody scrolls with ink on their gloves: the weight, the bar, the fault
// and the button that continues are all on the screen at once, none under another.
func TestWhatGoesOnIsOnTheScreen(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, int(wide.width), int(wide.height))
	for _, c := range []struct {
		name  string
		scene func(rows map[string]any, now time.Time)
		parts []string
	}{
		{"pouring", scenes["pouring"], nil},
		{"over", scenes["over"], []string{".corrections", ".warnings"}},
		{"an expired can", expiredCan, []string{".can-expired p", ".can-expired button", ".pour-from .chip"}},
	} {
		now := time.Now()
		rows := shop(now)
		c.scene(rows, now)
		b.open(newFakeBench(t, rows))
		if c.name != "an expired can" { // its button asks about the can first
			b.sees(".mix .main", "is in")
		} else {
			b.sees(".mix .main", "is can hardener-2 still to be used?")
		}
		for _, part := range append(c.parts, ".weight-figure", ".pour-track", ".poured", ".mix .main") {
			if is := eval[string](b, fmt.Sprintf(onTop, part)); is != "" {
				t.Errorf("%s: %s %s", c.name, part, is)
			}
		}
	}
	// The can that is poured from is on the screen at 200 %, too.
	now := time.Now()
	rows := shop(now)
	mixing := mixingAt(now, guide.Hardener)
	mixing.PourFrom = []view.CanChoice{{Can: "hardener-1", Material: "hardener-a", Lot: "H 2", InUse: true}}
	rows["batches"].([]view.Batch)[0] = mixing
	b.run(chromedp.EmulateViewport(zoom.width, zoom.height))
	b.open(newFakeBench(t, rows))
	b.sees(".pour-from", "hardener-1")
	for _, part := range []string{".pour-from .chip", ".pour-from .quiet-button", ".pour-track", ".mix .main"} {
		if is := eval[string](b, fmt.Sprintf(onTop, part)); is != "" {
			t.Errorf("at 200 %%: %s %s", part, is)
		}
	}
	b.run(chromedp.EmulateViewport(wide.width, wide.height))
	// While something can be taken back, the bar that says so does not cover it either.
	b.run(chromedp.Evaluate[chromedp.Void](`(document.querySelector(".undo-bar").hidden = false, undefined)`))
	if is := eval[string](b, fmt.Sprintf(onTop, ".mix .main")); is != "" {
		t.Errorf("with something to take back: .mix .main %s", is)
	}
}

// onTop says what is wrong with a part's place on the screen, or nothing.
const onTop = `(() => {
	const e = document.querySelector(%q);
	if (!e?.checkVisibility()) return "is not shown";
	const r = e.getBoundingClientRect();
	if (r.top < 0 || r.bottom > innerHeight) return "ends at " + Math.round(r.bottom) + " px of " + innerHeight;
	for (const y of [r.top + 3, r.bottom - 3]) {
		const there = document.elementFromPoint(r.left + r.width / 2, y);
		if (!e.contains(there) && !there.contains(e)) return "is covered by " + there.className;
	}
	return "";
})()`
