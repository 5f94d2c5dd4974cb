package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"potlifed/daemon/view"
)

// A page that has heard nothing for two heartbeats says so, and no light looks in order.
func TestNoContact(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, shop(now)), openBrowser(t, 1280, 800)
	b.expect("503")
	b.open(f)
	// A cable that is pulled ends no connection: the missing heartbeats tell.
	b.sees(".mix .main", "The hardener is in")
	b.skip(2600 * time.Millisecond)
	b.sees(".mix .main", "No contact")
	f.until(t, "another connection", func() bool { return len(f.readers) > 0 })
	f.send("scale", scaleRow(now, 107.6, false, "0612-4", &view.Pouring{Part: "hardener", PouredG: 5, TargetG: 17, LowG: 16.15, HighG: 17.85}))
	b.sees(".mix .main", "The hardener is in")
	b.run(chromedp.Evaluate[chromedp.Void](watchShifts))
	b.eventually("what came before is told", twoFrames+".then(() => { window.shifts = []; return true; })")
	f.cut()
	b.sees("#contact", "Contact lost, trying again")
	b.sees(".pour-instead", "No contact with the bench: do not pour on.")
	b.eventually("no bar stands still", `!document.querySelector(".pour").checkVisibility({visibilityProperty: true})`)
	b.sees(".weight", "No contact")
	b.sees(".mix .main", "No contact")
	for _, part := range []string{".air-figure", "#hall-clock", ".weight-figure"} {
		b.eventually(part+" is grey", fmt.Sprintf(`[...document.querySelectorAll(%q)].every((e) => getComputedStyle(e).color === getComputedStyle(document.querySelector(".mix-title")).color)`, part))
	}
	b.eventually("no light looks sure", `[...document.querySelectorAll(".lamp-shape")].every((e) => getComputedStyle(e).filter === "grayscale(1)")`)
	b.skip(31 * time.Second)
	b.sees("#no-contact", "No contact. Nothing heard for")
	b.eventually("no light is believed", `[...document.querySelectorAll(".lamp-word")].every((e) => e.innerText === "Not known")`)
	if grey := eval[string](b, `getComputedStyle(document.querySelector("main")).filter`); grey != "grayscale(1)" {
		t.Errorf("what is old looks fresh: %q", grey)
	}
	for _, moved := range eval[[]shift](b, "window.shifts") {
		if moved.Value >= mostShift/10 {
			t.Errorf("when contact is lost the page moves by %.4f: %v", moved.Value, moved.Of)
		}
	}
	f.mu.Lock()
	f.silent = false
	f.mu.Unlock()
	b.sees("#contact", "In contact with the bench")
	b.sees(".pour", "12.0 g to go")
	b.sees(".mix .main", "The hardener is in")
}

// On a phone the words about a lost contact take room of their own, and cover nothing of a mix.
func TestNoContactOnAPhone(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 390, 844)
	b.expect("503")
	b.open(f)
	b.sees(".mix .main", "The hardener is in")
	f.cut()
	b.skip(31 * time.Second)
	b.sees("#no-contact", "No contact. Nothing heard for")
	covered := `(() => {
		const banner = document.querySelector("#no-contact").getBoundingClientRect();
		return [...document.querySelectorAll("header *, #bench *")].filter((e) => e.checkVisibility() && e.getClientRects().length > 0).filter((e) => {
			const box = e.getBoundingClientRect();
			return box.height > 0 && box.top < banner.bottom - 1 && box.bottom > banner.top + 1;
		}).map((e) => e.className || e.id);
	})()`
	if under := eval[[]string](b, covered); len(under) > 0 {
		t.Errorf("the words lie over %v", under)
	}
	if foot := eval[float64](b, `document.querySelector(".mix .main").getBoundingClientRect().bottom`); foot > 844 {
		t.Errorf("the button that continues ends at %v px of 844", foot)
	}
}

// The button that starts a mix can be read while there is no contact.
func TestStartWithoutContact(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, map[string]any{"scales": []view.Scale{scaleRow(time.Now(), 0, true, "", nil)}, "inks": shop(time.Now())["inks"]}), openBrowser(t, 1280, 800)
	b.expect("503")
	b.open(f)
	b.sees(".main", "Start this mix")
	f.cut()
	b.sees("#contact", "Contact lost, trying again")
	b.eventually("words and ground differ", `(() => {
		const { color, backgroundColor } = getComputedStyle(document.querySelector(".main"));
		const light = (c) => c.match(/[\d.]+/g).slice(0, 3).reduce((sum, v) => sum + Number(v), 0);
		return Math.abs(light(color) - light(backgroundColor)) > 300;
	})()`)
}

// The policy holds: script inside the document does not run, and the browser says so.
func TestPolicyForbidsInlineScript(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 800, 600)
	b.expect("Content Security Policy")
	b.open(f)
	ran := eval[bool](b, `(() => {
		const s = document.createElement("script");
		s.textContent = "window.ran = true";
		document.head.append(s);
		return window.ran === true;
	})()`)
	if ran {
		t.Error("an inline script ran")
	}
	// This also shows that what the browser complains about is heard at all.
	b.meets("Content Security Policy")
}

// Everything that can be pressed or filled in has a name, and the focus can be seen on it.
func TestEverythingHasAName(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["resting"](rows, now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.press("Start another mix…")
	b.press("Record one mixed by hand…")
	nameless := eval[[]string](b, `[...document.querySelectorAll("button, input, textarea, a, [role]")].filter((e) =>
		!(e.getAttribute("aria-label") || e.getAttribute("aria-labelledby") || (e.innerText ?? e.textContent).trim() || e.labels?.[0]?.textContent.trim() || ["alert", "status"].includes(e.getAttribute("role")) || e.getAttribute("role") === "timer")).map((e) => e.outerHTML)`)
	for _, html := range nameless {
		t.Errorf("without a name: %s", html)
	}
	b.run(chromedp.KeyEvent(kb.Escape))
	b.eventually("Escape closes the dialog", `!document.querySelector("dialog")`)
	b.run(chromedp.KeyEvent(kb.Tab))
	if outline := eval[string](b, `getComputedStyle(document.activeElement).outlineStyle`); outline == "none" {
		t.Errorf("the focus cannot be seen on %s", eval[string](b, `document.activeElement.outerHTML`))
	}
}
