package page

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// longPath is 120 characters without a gap at which a line may end: the longest that a message of
// a device or of the system usually carries.
const longPath = `/dev/serial/by-id/usb-A_Maker_of_Adapters_With_A_Long_Name_USB_to_RS232_Converter_0123456789ABCDEF0123456789ABCD-port0-x`

// carriers are the keys of the API whose text may hold a path: causes, messages, reasons that
// people type, names that they give.
var carriers = map[string]bool{
	"text": true, "response": true, "why": true, "detail": true, "reason": true, "assumed": true, "warnings": true, "override": true,
	"can_override": true, "stir": true, "lot": true, "colour": true, "device": true, "by": true, "says": true, "verdict": true,
	"cautions": true, "why_not": true, "words": true,
}

// withLongPaths returns rows as the API sends them, with a long path in each text that may carry
// one. Texts that are empty are left out of the JSON, so that their rows must have them.
func withLongPaths(t *testing.T, rows map[string]any) map[string]any {
	t.Helper()
	long := map[string]any{}
	for name, list := range rows {
		if name == "readyz" || name == "closed" {
			long[name] = list // made by the bench of the tests from their own types
			continue
		}
		data, err := json.Marshal(list)
		if err != nil {
			t.Fatal(err)
		}
		var v any
		if err := json.Unmarshal(data, &v); err != nil {
			t.Fatal(err)
		}
		long[name] = lengthen(v, false)
	}
	return long
}

// lengthen puts the path into the texts of carriers within v; into v itself where it is one.
func lengthen(v any, carries bool) any {
	switch v := v.(type) {
	case map[string]any:
		for key, inner := range v {
			v[key] = lengthen(inner, carriers[key])
		}
	case []any:
		for i, inner := range v {
			v[i] = lengthen(inner, carries)
		}
	case string:
		if carries {
			return "it failed: " + longPath
		}
	}
	return v
}

// narrow is the narrowest screen that a page must fit (WCAG 2.2, 1.4.10).
var narrow = size{320, 640}

// TestLongPathsWrap: no text makes a page or a dialog wider than the screen, or stands outside of
// its box, on any size of screen.
func TestLongPathsWrap(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, int(narrow.width), int(narrow.height))
	for _, path := range append(pagePaths(), "/batches/0611-2") {
		for _, scene := range []string{"pouring", "idle", "troubled", "resting", "welcome"} {
			if scene != "welcome" && !shows(path, scene) || scene == "welcome" && path != "/" {
				continue
			}
			now := time.Now()
			rows := cansShop(now)
			if scene == "welcome" {
				rows = newShop(now)
			} else {
				scenes[scene](rows, now)
			}
			rows["readyz"] = []readyCheck{{Name: "journal", OK: true}, {Name: "broker", Detail: longPath}}
			closed, _ := closedShop()
			rows["closed"] = closed["closed"]
			f := newFakeBench(t, withLongPaths(t, rows))
			b.expect("503")
			b.openAt(f, path)
			b.drawn(path)
			b.run(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach((d) => (d.open = true))`))
			if path == "/presses" && scene == "pouring" {
				f.answer("acknowledge", 409, problem(409, "it failed: "+longPath))
				b.expect("409")
				b.click("#alarms .alarm button")
				b.sees("#alarms .refusal", longPath)
			}
			b.wraps(path+" "+scene, narrow, phone, tall, wide, wall)
			if scene != "idle" && scene != "pouring" || path == "/" && scene == "pouring" {
				continue // the same dialogs
			}
			for _, name := range b.leadOn("button") {
				b.clickNamed("button", name)
				b.eventually(name+" opens a dialog", `document.querySelector("dialog[open]") !== null`)
				b.wraps(path+" "+scene+": "+name, narrow, wide)
				b.press("Back")
				b.closed()
			}
		}
	}
}

// wraps judges what is shown on screens of the given sizes.
func (b *browser) wraps(what string, sizes ...size) {
	b.t.Helper()
	for _, s := range sizes {
		b.run(chromedp.EmulateViewport(s.width, s.height))
		b.eventually("drawn again", fmt.Sprintf("innerWidth === %d && %s", s.width, twoFrames))
		for _, found := range eval[[]string](b, outside) {
			b.t.Errorf("%s at %d px: %s", what, s.width, found)
		}
	}
}

// outside says how much wider than the screen the page is, and lists texts that reach out of the
// screen, or over what is beside them.
const outside = `(() => {
	const found = [];
	const page = document.documentElement.scrollWidth;
	if (page > innerWidth) found.push("the page is " + page + " px wide");
	const dialog = document.querySelector("dialog[open]");
	if (dialog && dialog.scrollWidth > dialog.clientWidth) found.push("the dialog is " + dialog.scrollWidth + " px wide, of " + dialog.clientWidth);
	const shown = [...(dialog ?? document.body).querySelectorAll("*")].filter((e) => !e.closest(".unseen, .skip, svg, select, datalist") && e.checkVisibility());
	for (const e of shown) {
		if (![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) continue;
		const r = e.getBoundingClientRect();
		if (r.left < -1 || r.right > innerWidth + 1) found.push("beside the screen: " + e.innerText);
		const display = getComputedStyle(e).display;
		if (display !== "inline" && e.clientWidth > 1 && e.scrollWidth > e.clientWidth + 1) found.push("wider than its box by " + (e.scrollWidth - e.clientWidth) + " px: " + e.className + " " + e.innerText);
	}
	return found.slice(0, 4);
})()`
