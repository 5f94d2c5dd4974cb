package page

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// TestTheMainButtonKeepsItsPlace: at all steps of a mix the button that continues is where it was, so
// that a hand finds it without a look, and is never cut.
func TestTheMainButtonKeepsItsPlace(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, stillShop(now)), openBrowser(t, 1280, 800)
	b.open(f)
	pour := func(part mix.Part, grams float64) *view.Pouring {
		return &view.Pouring{Part: part, PouredG: grams, TargetG: 17, LowG: 16.15, HighG: 17.85}
	}
	steps := []struct {
		step guide.Step
		head string
		pour *view.Pouring
	}{
		{guide.Cup, "Put an empty", nil}, {guide.Ink, "Pour ink", pour("ink", 3)}, {guide.Hardener, "Pour hardener-a", pour("hardener", 17)},
		{guide.StirHardener, "Stir the hardener in", nil}, {guide.Thinner, "Pour thinner", pour("thinner", 0)}, {guide.StirThinner, "Stir the thinner in", nil},
	}
	type place struct{ Left, Top, Right, Bottom float64 }
	for _, s := range []size{wide, tall, phone} {
		b.run(chromedp.EmulateViewport(s.width, s.height))
		var first place
		for _, step := range steps {
			f.send("batch", mixingAt(now, step.step))
			f.send("scale", scaleRow(now, 107.6, true, "0612-4", step.pour))
			b.sees(".mix-head", step.head)
			b.eventually("drawn", twoFrames+".then(() => true)")
			is := eval[place](b, `(({left, top, right, bottom}) => ({Left: left, Top: top, Right: right, Bottom: bottom}))(document.querySelector(".mix .main").getBoundingClientRect())`)
			if first == (place{}) {
				first = is
			}
			if is != first || is.Bottom > float64(s.height) {
				t.Errorf("%v: at %s the button is at %+v, at first it was at %+v", s, step.step, is, first)
			}
		}
	}
}
