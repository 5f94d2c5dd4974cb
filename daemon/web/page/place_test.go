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
// that a hand finds it without a look, and is never cut. (At 200 % the words of some buttons take more
// lines than of others.) Nothing lies over anything else, and the strip breaks no word.
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
	for _, s := range []size{wide, tall, phone, zoom} {
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
			for _, found := range eval[[]string](b, oneOverAnother) {
				t.Errorf("%v: at %s: %s", s, step.step, found)
			}
			if is.Bottom > float64(s.height) || is != first && s != zoom {
				t.Errorf("%v: at %s the button is at %+v, at first it was at %+v", s, step.step, is, first)
			}
		}
	}
}

// oneOverAnother lists buttons that lie over the head of a mix, and buttons of the strip with a word that
// is broken.
const oneOverAnother = `(() => {
	const shown = (s) => [...document.querySelectorAll(s)].filter((e) => e.checkVisibility());
	const lines = (e) => {
		const range = document.createRange();
		range.selectNodeContents(e);
		return [...range.getClientRects()];
	};
	const over = shown("#bench > button, .weight-figure").flatMap((e) => shown(".mix-title, .steps li, .mix-head").filter((o) => {
		const a = e.getBoundingClientRect();
		return lines(o).some((b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom);
	}).map((o) => e.innerText + " lies over " + o.innerText));
	const broken = shown("#strip button").filter((e) => e.scrollWidth > e.clientWidth + 1 || [...e.querySelectorAll("*"), e].some((o) => [...o.childNodes].some((n) => {
		if (n.nodeType !== 3) return false;
		const range = document.createRange();
		return [...n.data.matchAll(/\S+/g)].some((word) => {
			range.setStart(n, word.index);
			range.setEnd(n, word.index + word[0].length);
			return new Set([...range.getClientRects()].map((r) => Math.round(r.top))).size > 1;
		});
	}))).map((e) => "a word is broken: " + e.innerText);
	return [...over, ...broken];
})()`
