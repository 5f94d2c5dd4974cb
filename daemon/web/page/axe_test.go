package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"potlifed/daemon/peers"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/study"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
)

// openAxe opens a browser that has axe-core, whose file POTLIFED_AXE names, at hand. Without
// it the test is skipped, or fails where peers are required.
func openAxe(t *testing.T) (b *browser, axe string) {
	t.Helper()
	script := peers.Axe(t)
	return openBrowser(t, 1280, 800), script
}

// violation is what axe-core finds wrong.
type violation struct {
	ID, Help string
	Nodes    []struct{ HTML, FailureSummary string }
}

// accessible fails for each breach of WCAG 2.2, levels A and AA, in the open dialog, or in the page
// where none is open, on each of the screens. In dark colours only the contrast differs, so that
// it alone is judged again, and on the first screen only.
func (b *browser) accessible(axe, what string, sizes ...size) {
	b.t.Helper()
	// The debugger's evaluation passes the page's policy by; the policy stays in force.
	if !eval[bool](b, "window.axe !== undefined") {
		b.run(chromedp.Evaluate[chromedp.Void](axe + ";undefined"))
	}
	rules := map[string]string{
		"light": `{type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}`,
		"dark":  `{type: "rule", values: ["color-contrast"]}`,
	}
	least := map[string]int{"light": 10, "dark": 1} // rules that something was judged by
	for i, s := range sizes {
		for _, scheme := range []string{"light", "dark"}[:max(1, 2-i)] {
			b.run(chromedp.EmulateViewport(s.width, s.height), media("prefers-color-scheme", scheme))
			b.redrawn(s)
			found := eval[struct {
				Violations []violation
				Passes     int
			}](b, `axe.run(document.querySelector("dialog[open]") ?? document, {runOnly: `+rules[scheme]+`}).then((r) => ({violations: r.violations, passes: r.passes.length}))`)
			if found.Passes < least[scheme] {
				b.t.Fatalf("%s, %s: axe-core judged by %d rules only", what, scheme, found.Passes)
			}
			for _, v := range found.Violations {
				for _, n := range v.Nodes {
					b.t.Errorf("%s, %dx%d %s: %s (%s)\n%s\n%s", what, s.width, s.height, scheme, v.ID, v.Help, n.HTML, n.FailureSummary)
				}
			}
		}
	}
	b.pictures(what)
}

// No page breaches WCAG 2.2, levels A and AA, in any of its states.
func TestNoPageBreachesWCAG(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	for _, path := range append(pagePaths(), wallPage, "/batches/0611-2") {
		for scene, sizes := range map[string][]size{"pouring": {wide, tall, phone}, "over": {wide}, "resting": {wide}, "troubled": {wide}, "plant": {wide, phone}, "empty": {phone}} {
			if !shows(path, scene) || path == "/" && isMixing(scene) {
				continue // TestEveryMixingState judges the others of the bench's page
			}
			now := time.Now()
			rows := cansShop(now)
			scenes[scene](rows, now)
			rows["batches/0611-2/history"] = cansShop(now)["batches/0611-2/history"]
			b.goes(newFakeBench(t, rows), path)
			b.drawn(path)
			b.accessible(axe, path+" "+scene, sizes...)
		}
	}
	b.expect("503")
	for path, shown := range map[string]string{helpPage.At: "#help", offlinePath: ".offline"} {
		f := newFakeBench(t, shop(time.Now()))
		f.deaf = true // else the page for a bench out of reach would give way
		b.run(chromedp.Navigate(f.URL + path))
		b.eventually("drawn", fmt.Sprintf("document.querySelector(%q) !== null", shown))
		b.accessible(axe, path, wide, phone)
	}
}

// Nor does a page in a state that a person brings about: a study that found effects, rejects being reported, details and
// tables open, a day's sheet, the wall without contact.
func TestNoStateBreachesWCAG(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	const open = `document.querySelectorAll("details").forEach((d) => { d.open = true });document.querySelector(".reject-open")?.click();undefined`
	for _, s := range []struct{ path, shown string }{
		{"/study", ".study-found"}, {"/presses", ".reject-panel:not([hidden])"}, {"/devices", "details[open]"}, {"/closed?day=2026-06-11", "main h2"}, {"/batches/0611-2", "details[open]"},
	} {
		now := time.Now()
		rows := cansShop(now)
		scenes["troubled"](rows, now)
		closed, _ := closedShop()
		rows["closed"] = closed["closed"]
		for i := range rows["presses"].([]view.Press) {
			rows["presses"].([]view.Press)[i].Defects = []view.DefectCount{{Kind: "pinholes", Words: "Pinholes", Today: 2}}
		}
		b.openAt(studied(t, newFakeBench(t, rows)), s.path)
		b.drawn(s.path)
		b.eventually("its pictures", `[...document.querySelectorAll(".picture-waits")].every((e) => !e.checkVisibility())`)
		b.run(chromedp.Evaluate[chromedp.Void](open))
		b.eventually(s.shown, fmt.Sprintf(`[...document.querySelectorAll(%q)].some((e) => e.checkVisibility())`, s.shown))
		b.accessible(axe, s.path+" as a person made it", phone)
		b.wraps(s.path+" as a person made it", narrow, phone, tall, wide, wall)
	}
	f := newFakeBench(t, wallShop(time.Now(), 3))
	b.expect("503")
	b.openWall(f)
	f.cut()
	b.skip(45 * time.Second)
	b.sees("#no-contact", "No contact.")
	b.accessible(axe, "the wall without contact", size{1920, 1080})
}

// studied has a bench answer the study of the shop that has a report, in which effects are found.
func studied(t *testing.T, f *fakeBench) *fakeBench {
	t.Helper()
	a, err := reportedShop{}.Study(t.Context(), study.Request{})
	if err != nil {
		t.Fatal(err)
	}
	next := f.Config.Handler
	f.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/api/v1/study" {
			next.ServeHTTP(w, r)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(a.Tell(words.Locale{}, func(id string) string { return id }))
	})
	return f
}

// Nor does a page that is written once: the label, the record of a check, the reference.
func TestNoStillPageBreachesWCAG(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	at := stillPages(t)
	for _, path := range []string{"/label", "/no-label", "/refused", "/check-record", "/reference"} {
		b.run(chromedp.Navigate(at + path))
		b.accessible(axe, path, wide, phone)
		for _, found := range eval[[]string](b, `[...document.querySelectorAll("caption, h1, h2, p")].filter((e) => e.innerText.trim() && e.checkVisibility() && e.offsetWidth < 40).map((e) => e.innerText)`) {
			t.Errorf("%s: a text is as narrow as a letter: %s", path, found)
		}
	}
}

// goes shows a page, also one whose head with the words of contact is hidden.
func (b *browser) goes(f *fakeBench, path string) {
	b.t.Helper()
	if path == wallPage {
		b.openWall(f)
		return
	}
	b.openAt(f, path)
}

// pagePaths are the pages that are served, but for those of one thing each.
func pagePaths() []string {
	var all []string
	for _, d := range (document{}).Places() {
		all = append(all, d.At)
	}
	return all
}

// drawn waits until a page shows the rows of the bench.
func (b *browser) drawn(path string) {
	b.t.Helper()
	switch path {
	case "/":
		b.sees("main", "0612-") // a mix on the stage is alone
	case "/presses":
		b.sees("main", "0612-1")
	case wallPage:
		b.eventually("drawn", `document.querySelector(".wall-line")?.checkVisibility() === true`)
	case "/devices":
		b.eventually("drawn", `document.querySelector("#rests-on .device")?.checkVisibility()`)
	default:
		b.eventually("drawn", `document.querySelector("main h1, main h2")?.checkVisibility()`)
	}
}

// Nor does any dialog; each is opened by every button that leads to one.
func TestNoDialogBreachesWCAG(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	opened := 0
	for _, path := range pagePaths() {
		for _, scene := range []string{"idle", "over", "resting"} {
			if path != "/" && scene != "idle" {
				continue // its dialogs do not hang on what is mixed
			}
			now := time.Now()
			rows := shop(now)
			scenes[scene](rows, now)
			b.openAt(newFakeBench(t, rows), path)
			b.drawn(path)
			for _, name := range b.leadOn("button") {
				b.clickNamed("button", name)
				b.eventually(name+" opens a dialog", `document.querySelector("dialog[open]") !== null`)
				opened++
				b.accessible(axe, path+": "+name, phone)
				for _, option := range b.leadOn("dialog[open] button") {
					b.clickNamed("dialog[open] button", option)
					b.eventually(option+" opens a dialog", fmt.Sprintf(`document.querySelector("dialog[open] h2") !== null && document.querySelectorAll("dialog[open]").length === 1 && ![...document.querySelectorAll("dialog[open] button")].some((e) => e.innerText.startsWith(%s))`, quoted(option)))
					opened++
					b.accessible(axe, path+": "+name+" "+option, phone)
					b.press("Back")
					b.closed()
					b.clickNamed("button", name)
					b.eventually(name+" opens a dialog", `document.querySelector("dialog[open]") !== null`)
				}
				b.press("Back")
				b.closed()
			}
		}
	}
	if opened < 20 {
		t.Errorf("only %d dialogs were found", opened)
	}
}

func quoted(s string) string {
	q, _ := json.Marshal(s)
	return string(q)
}

// leadOn lists the names of the buttons that lead on to a dialog: those that end in an
// ellipsis. Of buttons that differ only in the batch they are about, one is enough.
func (b *browser) leadOn(selector string) []string {
	b.t.Helper()
	seen := map[string]bool{}
	var names []string
	for _, words := range eval[[]string](b, fmt.Sprintf(`[...document.querySelectorAll(%s)].filter((e) => e.checkVisibility()).map((e) => e.innerText.split("\n")[0].trim())`, quoted(selector))) {
		if strings.HasSuffix(words, "…") && !seen[words] && words != "Start another mix…" && words != "Further back…" {
			seen[words] = true
			names = append(names, words)
		}
	}
	return names
}

// clickHaving clicks the first of what a selector finds that has the given words.
func (b *browser) clickHaving(selector, words string) {
	b.t.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll(%s)].find((e) => e.checkVisibility() && e.innerText.replaceAll("\n", " ").includes(%s))`, quoted(selector), quoted(words))
	b.eventually(words, find+" !== undefined")
	b.run(chromedp.Evaluate[chromedp.Void](find + ".click()"))
}

func (b *browser) clickNamed(selector, words string) {
	b.t.Helper()
	b.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`[...document.querySelectorAll(%s)].find((e) => e.checkVisibility() && e.innerText.split("\n")[0].trim() === %s).click()`, quoted(selector), quoted(words))))
}
