package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/reference"
	"potlifed/daemon/report"
	"potlifed/daemon/view"
	"potlifed/daemon/web/label"
	"potlifed/daemon/words"
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

// TestLongPathsWrapOnTheWall: nor on the wall, where the longest reasons still leave every press on the screen.
func TestLongPathsWrapOnTheWall(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, int(wall.width), int(wall.height))
	b.expect("503")
	for _, presses := range []int{1, 3, 4, 8} {
		now := time.Date(2026, 6, 12, 22, 30, 0, 0, time.Local)
		f := newFakeBench(t, withLongPaths(t, wallShop(now, presses)))
		f.made = now
		b.openWall(f)
		b.wraps(fmt.Sprintf("the wall of %d presses", presses), wall, wide, tall, narrow)
		b.run(chromedp.EmulateViewport(wall.width, wall.height))
		b.eventually("drawn anew", `document.querySelector(".wall-name") && new Promise((done) => setTimeout(() => done(true), 1100))`)
		b.isReadFromAfar(fmt.Sprintf("the wall of %d presses", presses))
	}
}

// TestLongPathsWrapOnStillPages: nor does any text of the pages that are written once and have no rows: each has a long
// path at its end.
func TestLongPathsWrapOnStillPages(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, int(narrow.width), int(narrow.height))
	at := stillPages(t)
	for _, path := range []string{"/help", "/reference", "/label", "/no-label", "/refused", "/check-record", "/report-file", offlinePath} {
		b.run(chromedp.Navigate(at + path))
		b.run(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach((d) => (d.open = true))`))
		if n := eval[int](b, withPaths); n < 5 {
			t.Errorf("%s: only %d texts have a path", path, n)
		}
		b.wraps(path, narrow, phone, tall, wide, wall)
	}
}

// stillPages serves them, with the file of a report and the record of a check, and returns where.
func stillPages(t *testing.T) (at string) {
	t.Helper()
	labelled := func(why string) []byte {
		sheets := []view.SafetySheet{{Part: "ink", ID: "dial-satin", Link: "/sheets/" + longPath}}
		body, err := inEnglish().Label(label.Label{Batch: "0612-1"}, why, sheets)
		if err != nil {
			t.Fatal(err)
		}
		return body
	}
	var record bytes.Buffer
	checked := view.Sensor{ID: "bench-air", Condition: "up", CheckFailed: "the check of bench-air failed", CheckFinding: "solvent", CheckPoints: []view.SensorCheckPoint{
		{At: reported, Salt: "magnesium-chloride", ReadPct: 33, ReferencePct: 33.1, AllowedPct: 3, Passed: true}, {At: reported, Salt: "sodium-chloride", ReadPct: 66, ReferencePct: 75.5, AllowedPct: 3},
	}}
	if written, err := report.WriteCheck(&record, "bench-1", "/devices", checked, earlierChecks(), words.Locale{Zone: time.UTC}); !written || err != nil {
		t.Fatal(err)
	}
	refused, err := inEnglish().Refused("No check of bench-air has been recorded.", "it failed: "+longPath)
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	mux.Handle("/", inEnglish().Handler())
	mux.Handle("/reference", reference.Handler())
	mux.Handle("/reference.css", reference.Handler())
	for path, body := range map[string][]byte{"/label": labelled(""), "/no-label": labelled("it failed: " + longPath), "/report-file": reportFile(t), "/check-record": record.Bytes(), "/refused": refused} {
		mux.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/html")
			w.Write(body)
		})
	}
	for _, path := range []string{"/favicon.ico", "/batches/"} {
		mux.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	}
	server := httptest.NewServer(mux)
	t.Cleanup(server.Close)
	return server.URL
}

// withPaths puts the path at the end of each text of a page, but for the drawn ones, and returns to how many.
const withPaths = `(() => {
	const texts = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (walk.nextNode()) if (walk.currentNode.data.trim() && !walk.currentNode.parentElement.closest("svg, script, style, noscript, select, nav")) texts.push(walk.currentNode);
	for (const text of texts) text.data += " it failed: ` + longPath + `";
	return texts.length;
})()`

// wraps judges what is shown on screens of the given sizes.
func (b *browser) wraps(what string, sizes ...size) {
	b.t.Helper()
	for _, s := range sizes {
		b.run(chromedp.EmulateViewport(s.width, s.height))
		b.redrawn(s)
		for _, found := range eval[[]string](b, outside) {
			b.t.Errorf("%s at %d px: %s", what, s.width, found)
		}
	}
}

// outside says how much wider than the screen the page is, and lists texts that reach out of the
// screen, or over what is beside them. A table of data may be moved sideways within its own box.
const outside = `(() => {
	const found = [];
	const page = document.documentElement.scrollWidth;
	if (page > innerWidth) found.push("the page is " + page + " px wide");
	const dialog = document.querySelector("dialog[open]");
	if (dialog && dialog.scrollWidth > dialog.clientWidth) found.push("the dialog is " + dialog.scrollWidth + " px wide, of " + dialog.clientWidth);
	for (const t of document.querySelectorAll(".table")) if (t.getBoundingClientRect().right > innerWidth + 1) found.push("a table does not scroll within the page");
	const shown = [...(dialog ?? document.body).querySelectorAll("*")].filter((e) => !e.closest(".unseen, .skip, svg, select, datalist, .table") && e.checkVisibility());
	for (const e of shown) {
		if (![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) continue;
		const r = e.getBoundingClientRect();
		if (r.left < -1 || r.right > innerWidth + 1) found.push("beside the screen: " + e.innerText);
		const display = getComputedStyle(e).display;
		if (display !== "inline" && e.clientWidth > 1 && e.scrollWidth > e.clientWidth + 1) found.push("wider than its box by " + (e.scrollWidth - e.clientWidth) + " px: " + e.className + " " + e.innerText);
	}
	return found.slice(0, 4);
})()`
