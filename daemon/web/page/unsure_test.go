package page

import (
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/light"
)

// TestAnUnknownLightMakesNoBatchSure: among the open batches of the bench's page no figure is in full black and no
// bar is solid where the light of the batch's press is unknown, and those of the others stay as they are.
func TestAnUnknownLightMakesNoBatchSure(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["idle"](rows, now)
	rows["lights"].([]view.Light)[1] = lamp(now, "press-2", light.Unknown, true, "its air is not known", "0612-2")
	b := openBrowser(t, 1280, 800)
	b.open(newFakeBench(t, rows))
	const (
		faint = `[...document.querySelectorAll('.batch[data-light="unknown"] :is(.batch-left, .batch-next)')].map((e) => getComputedStyle(e).textDecorationLine).join(" ")`
		bar   = `getComputedStyle(document.querySelector('.batch[data-light="unknown"] .life')).backgroundImage`
		other = `getComputedStyle(document.querySelector('.batch:not([data-light="unknown"]) .batch-left')).textDecorationLine`
	)
	b.eventually("its figures are marked", faint+` === "underline underline"`)
	b.eventually("its bar is not solid", bar+` === "none"`)
	b.eventually("the others are as they were", other+` === "none"`)
}
