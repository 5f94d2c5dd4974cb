package page

import (
	"testing"
	"time"
)

// At 200 % zoom every page and every dialog is still wholly there: nothing is beside the
// screen, nothing is cut off, and what can be pressed can be brought into view.
func TestZoom(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, int(zoom.width), int(zoom.height))
	for _, path := range pagePaths() {
		for scene := range scenes {
			if !shows(path, scene) || path == "/" && isMixing(scene) && scene != "over" {
				continue
			}
			now := time.Now()
			rows := shop(now)
			scenes[scene](rows, now)
			b.openAt(newFakeBench(t, rows), path)
			b.drawn(path)
			b.wholeAt(path + " " + scene)
			if scene != "over" && scene != "idle" {
				continue // the same dialogs
			}
			for _, name := range b.leadOn("button") {
				b.clickNamed("button", name)
				b.eventually(name+" opens a dialog", `document.querySelector("dialog[open]") !== null`)
				b.wholeAt(path + " " + scene + ": " + name)
				b.press("Back")
				b.closed()
			}
		}
	}
}

// wholeAt judges what is shown.
func (b *browser) wholeAt(what string) {
	b.t.Helper()
	b.eventually("drawn", twoFrames)
	if wide := eval[float64](b, "document.documentElement.scrollWidth"); int64(wide) > zoom.width {
		b.t.Errorf("%s: the page is %v px wide", what, wide)
	}
	for _, found := range eval[[]string](b, cutOff) {
		b.t.Errorf("%s: cut off: %s", what, found)
	}
	for _, found := range eval[[]string](b, overlaps) {
		b.t.Errorf("%s: %s", what, found)
	}
}

// overlaps lists what in the head of the page, and beside the weight, lies over something else there.
const overlaps = `(() => {
	const texts = [...document.querySelectorAll("header *, #bench > .weight *, #bench > .another")].filter((e) => e.checkVisibility() && !e.closest(".unseen"))
		.flatMap((e) => [...e.childNodes].filter((n) => n.nodeType === 3 && n.data.trim()).map((n) => {
			const range = document.createRange();
			range.selectNodeContents(n);
			return {e: e.closest("button, a") ?? e, words: n.data, r: (e.closest("button") ?? range).getBoundingClientRect()};
		})).filter((t) => t.r.width > 1);
	const over = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
	return texts.flatMap((a, i) => texts.slice(i + 1).filter((b) => a.e !== b.e && over(a.r, b.r)).map((b) => "\"" + a.words + "\" and \"" + b.words + "\" lie over one another"));
})()`

// cutOff lists texts that their own box or the screen cuts, and buttons and inputs that no
// scrolling brings wholly onto the screen.
const cutOff = `(() => {
	const top = document.querySelector("dialog[open]") ?? document.body;
	const shown = [...top.querySelectorAll("*")].filter((e) => e.checkVisibility() && !e.closest(".unseen, .skip, svg"));
	const wide = shown.filter((e) => {
		const style = getComputedStyle(e);
		return e.scrollWidth > e.clientWidth + 1 && style.overflowX !== "visible" && style.display !== "inline" && e.innerText?.trim();
	}).map((e) => "its box is too narrow: " + e.innerText);
	const beside = shown.filter((e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())).filter((e) => {
		const r = e.getBoundingClientRect();
		return r.left < -1 || r.right > innerWidth + 1;
	}).map((e) => "beside the screen: " + e.innerText);
	const hidden = shown.filter((e) => e.matches("button, input:not(.chip input), textarea, summary, .chip")).filter((e) => {
		e.scrollIntoView({block: "nearest"});
		const r = e.getBoundingClientRect();
		return r.top < -1 || r.bottom > innerHeight + 1;
	}).map((e) => "cannot be brought into view: " + (e.innerText || e.name));
	scrollTo(0, 0);
	return [...wide, ...beside, ...hidden];
})()`

// Where less motion is wanted nothing moves, on any page or dialog, whatever flashes.
func TestNothingMovesWhereLessMotionIsWanted(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 1280, 800)
	b.run(media("prefers-reduced-motion", "reduce"))
	for _, path := range pagePaths() {
		now := time.Now()
		rows := shop(now)
		scenes["troubled"](rows, now)
		b.openAt(newFakeBench(t, rows), path)
		b.drawn(path)
		still := func(what string) {
			t.Helper()
			if moving := eval[[]string](b, `document.getAnimations().map((a) => a.effect.target.outerHTML)`); len(moving) > 0 {
				t.Errorf("%s: %d animations run, such as that of %s", what, len(moving), moving[0])
			}
			if lasting := eval[[]string](b, `[...document.querySelectorAll("*")].filter((e) => getComputedStyle(e).transitionDuration.split(",").some((d) => parseFloat(d) > 0)).map((e) => e.outerHTML)`); len(lasting) > 0 {
				t.Errorf("%s: a change of %s takes time", what, lasting[0])
			}
		}
		still(path)
		for _, name := range b.leadOn("button") {
			b.clickNamed("button", name)
			b.eventually(name+" opens a dialog", `document.querySelector("dialog[open]") !== null`)
			still(path + ": " + name)
			b.press("Back")
			b.closed()
		}
	}
	// That the test could see one: without the wish, what flashes moves.
	rows, now := shop(time.Now()), time.Now()
	scenes["troubled"](rows, now)
	b.openAt(newFakeBench(t, rows), "/presses")
	b.run(media("prefers-reduced-motion", "no-preference"))
	b.eventually("flashing", "document.getAnimations().length > 0")
}
