package page

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// onPaper has the pages drawn as for a printer.
func onPaper() chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	})
}

// deficient has colours drawn as people with a deficiency of colour vision see them.
func deficient(kind emulation.SetEmulatedVisionDeficiencyType) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedVisionDeficiency, emulation.SetEmulatedVisionDeficiencyParams{Type: kind})
		return err
	})
}

// No page has its menu, its words of contact or its buttons on paper, and each has what it is about.
func TestPaperHasNoMenu(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 800, 1280)
	for _, path := range append(pagePaths(), "/batches/0611-2") {
		b.openAt(newFakeBench(t, cansShop(time.Now())), path)
		b.drawn(path)
		b.run(onPaper())
		for _, found := range eval[[]string](b, `[...document.querySelectorAll("nav, #contact, #alarm-count, .skip, button, .help-link")].filter((e) => e.checkVisibility()).map((e) => e.outerHTML)`) {
			t.Errorf("%s: on paper there is %s", path, found)
		}
		if words := eval[int](b, `document.querySelector("main").innerText.trim().length`); words < 20 {
			t.Errorf("%s: on paper there are %d letters", path, words)
		}
		b.keepsPicture("paper" + strings.ReplaceAll(path, "/", "-"))
		b.run(media("prefers-color-scheme", "light"))
	}
}

// TestStudyOnPaper: on paper there are no fields to fill in, and no part of the answer lies over another.
func TestStudyOnPaper(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 800, 1280)
	f := newFakeBench(t, shop(time.Now()))
	release := f.hold("/api/")
	b.run(chromedp.Navigate(f.URL + "/study"))
	release()
	b.sees(".study-headline", "Nothing can be said yet")
	b.run(onPaper())
	if fields := eval[int](b, `[...document.querySelectorAll("input, select")].filter((e) => e.checkVisibility()).length`); fields != 0 {
		t.Errorf("%d fields are on paper", fields)
	}
	over := eval[[]string](b, `(() => { const all = [...document.querySelectorAll("#study > *, .study-part > *")].filter((e) => e.checkVisibility() && e.getBoundingClientRect().height > 0 && !e.classList.contains("study-part")); return all.slice(1).filter((e, i) => e.getBoundingClientRect().top < all[i].getBoundingClientRect().bottom - 1).map((e) => e.className); })()`)
	if len(over) > 0 {
		t.Errorf("over what is before them: %q", over)
	}
}

// brokenIds finds the ids that are broken at a hyphen, in the dialog that is open or else on the page.
const brokenIds = `(() => {
	const found = [], walk = document.createTreeWalker(document.querySelector("dialog") ?? document.querySelector("main"), NodeFilter.SHOW_TEXT);
	for (let n = walk.nextNode(); n; n = walk.nextNode()) {
		if (!n.parentElement.checkVisibility() || n.parentElement.closest("svg, .unseen, select, button:not(.option)")) continue;
		for (const m of n.data.matchAll(/\b(?:0\d{3}|press|dial|gauge|scale|cup|bench|floor|light)-\w{1,8}\b/g)) {
			const range = document.createRange();
			range.setStart(n, m.index);
			range.setEnd(n, m.index + m[0].length);
			if (new Set([...range.getClientRects()].map((r) => Math.round(r.top))).size > 1) found.push(m[0] + " in " + n.parentElement.className + ": " + n.data.slice(0, 80));
		}
	}
	return found;
})()`

// No id is broken at its hyphen, on no page, narrow as it may be.
func TestIdsAreWhole(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 360, 800)
	for _, path := range append(pagePaths(), "/batches/0611-2") {
		b.openAt(newFakeBench(t, cansShop(time.Now())), path)
		b.drawn(path)
		for _, found := range eval[[]string](b, brokenIds) {
			t.Errorf("%s breaks %s", path, found)
		}
	}
}

// In forced colours the present page can still be told in the menu, and a triangle is one.
func TestForcedColours(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 1280, 800)
	b.run(media("forced-colors", "active"))
	b.openAt(f, "/presses")
	b.drawn("/presses")
	b.keepsPicture("forced-presses")
	borders := eval[[]string](b, `["nav a[aria-current]", "nav a:not([aria-current])"].map((s) => getComputedStyle(document.querySelector(s)).borderBottomColor)`)
	if ground := eval[string](b, `getComputedStyle(document.body).backgroundColor`); borders[0] == borders[1] || borders[1] != ground || borders[0] == ground {
		t.Errorf("the present page has the border %s, the others %s, on %s", borders[0], borders[1], ground)
	}
	if sides := eval[[]string](b, `[...document.querySelectorAll(".next-mark, .key-next")].filter((e) => e.checkVisibility()).map((e) => getComputedStyle(e).borderLeftColor)`); len(sides) < 2 {
		t.Errorf("only %d triangles are drawn", len(sides))
	} else {
		for _, side := range sides {
			if side != "rgba(0, 0, 0, 0)" {
				t.Errorf("the side of a triangle has the colour %s: it is a square", side)
			}
		}
	}
}

// TestPicturesForColours keeps pictures of the pages in forced colours and as people with a deficiency
// of colour vision see them, where -artifacts asks for them. That words and shapes carry what colours
// say is judged by looking.
func TestPicturesForColours(t *testing.T) {
	t.Parallel()
	if !keepsPictures() {
		t.Skip("pictures are kept with -artifacts only")
	}
	b := openBrowser(t, 1280, 800)
	for path, scene := range map[string]string{"/": "pouring", "/presses": "troubled", "/devices": "troubled", wallPage: "troubled", "/cans": "pouring"} {
		rows, now := cansShop(time.Now()), time.Now()
		scenes[scene](rows, now)
		name := strings.NewReplacer("/", "", "?", "-").Replace(path)
		b.run(chromedp.Navigate("about:blank"))
		b.stopsTimeAt(now)
		f := newFakeBench(t, rows)
		b.run(chromedp.Navigate(f.URL + path))
		b.drawn(path)
		for _, scheme := range []string{"light", "dark"} {
			b.run(colours(scheme))
			b.keepsPicture("forced-" + scheme + "-" + name)
		}
		b.run(media("prefers-color-scheme", "light"))
		for _, kind := range []emulation.SetEmulatedVisionDeficiencyType{"deuteranopia", "protanopia", "tritanopia", "achromatopsia"} {
			b.run(deficient(kind))
			b.keepsPicture(string(kind) + "-" + name)
		}
		b.run(deficient("none"))
	}
}

// colours forces the colours of a scheme.
func colours(scheme string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "forced-colors", Value: "active"}, {Name: "prefers-color-scheme", Value: scheme}},
		})
		return err
	})
}
