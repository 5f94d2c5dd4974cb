package page

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/words"
	"potlifed/model/alarm"
	"potlifed/model/light"
)

// TestEveryAlarmHasItsHelp: the path that an alarm's row carries leads to what is said of it.
func TestEveryAlarmHasItsHelp(t *testing.T) {
	body := read(t, get(t, "GET", "/help").Body)
	for _, d := range alarm.Definitions() {
		path, anchor, _ := strings.Cut(words.HelpPath(d.Name), "#")
		if path != helpPage.At || strings.Count(body, `id="`+anchor+`"`) != 1 {
			t.Errorf("%s has no help at %s", d.Name, words.HelpPath(d.Name))
		}
		if about := (words.Locale{}).Alarm(d.Name); !strings.Contains(body, about.Title) {
			t.Errorf("the help does not say %q", about.Title)
		}
	}
	for _, name := range explained {
		if strings.Count(body, `id="`+name+`"`) != 1 {
			t.Errorf("%s has no explanation", name)
		}
	}
	if !strings.Contains(body, `href="/reference"`) {
		t.Error("the help does not lead to the reference")
	}
	for at, c := range inEnglish().site.assets.served { // what the pages lead to
		for _, m := range regexp.MustCompile(`/help#([a-z-]+)`).FindAllStringSubmatch(string(c.plain()), -1) {
			if strings.Count(body, `id="`+m[1]+`"`) != 1 {
				t.Errorf("%s leads to %s, which the help does not have", at, m[0])
			}
		}
	}
	if at := strings.Index(body, "help.figure."); at >= 0 {
		t.Errorf("a key of the catalogue: %.60s", body[at:])
	}
	for _, d := range documents {
		if page := read(t, get(t, "GET", strings.Replace(d.At, batchPage, "/batches/0612-1", 1)).Body); !strings.Contains(page, `href="/help"`) {
			t.Errorf("%s does not lead to the help", d.At)
		}
	}
}

// TestEveryLightHasItsHelp: no meaning is left out of the table, each is drawn as on the pages, and every
// text that a page shows with a sign stands in it.
func TestEveryLightHasItsHelp(t *testing.T) {
	body := read(t, get(t, "GET", "/help").Body)
	source, err := os.ReadFile("lib/signs.js")
	if err != nil {
		t.Fatal(err)
	}
	drawn := string(source)
	from := strings.Index(body, `<table class="lights">`)
	table := body[from : from+strings.Index(body[from:], "</table>")]
	l := words.Locale{}
	for _, m := range light.Meanings() {
		_, row, found := strings.Cut(table, `<tr id="light-`+string(m)+`">`)
		row, _, _ = strings.Cut(row, "</tr>")
		if !found || signs[m] == "" || !strings.Contains(row, string(signs[m])) || !strings.Contains(row, `class="sign `+m.Colour()+`"`) || !strings.Contains(row, l.Say("meaning."+string(m))) {
			t.Errorf("%s: its row is %q", m, row)
		}
		if strings.Contains(row, "Always flashes") != m.AlwaysFlashes() {
			t.Errorf("%s: flashing is told wrongly", m)
		}
		for _, d := range regexp.MustCompile(` d="([^"]+)"`).FindAllStringSubmatch(string(signs[m]), -1) {
			if !strings.Contains(drawn, d[1]) {
				t.Errorf("%s: the pages draw it otherwise", m)
			}
		}
	}
	for _, m := range regexp.MustCompile(`say\("(meaning\.[a-z-]+)"|"((?:cause|meaning)\.[a-z-]+)"`).FindAllStringSubmatch(drawn, -1) {
		if text := l.Say(m[1] + m[2]); !strings.Contains(table, text) {
			t.Errorf("the pages also say %q", text)
		}
	}
	if n := strings.Count(body, "<ol>"); n != 3 || strings.Contains(body, "help.light.") || strings.Contains(body, "help.task.") {
		t.Errorf("%d tasks, or a key of the catalogue", n)
	}
}

// TestPagesAreInTheLanguage: what the templates say comes from the catalogue. In the
// pseudo-language each text has brackets, so that one without them is not from it.
func TestPagesAreInTheLanguage(t *testing.T) {
	pages := In(words.Locale{Language: words.Pseudo(words.English())})
	for _, at := range []string{"/help"} {
		body := string(pages.site.pages[at].plain())
		body = body[strings.Index(body, "<body"):]
		for _, piece := range strings.FieldsFunc(untagged(body), func(r rune) bool { return r == '\n' }) {
			piece = strings.TrimSpace(piece)
			if piece != "" && piece != "potlifed" && !strings.HasPrefix(piece, "[") {
				t.Errorf("%s says %q, which is not from the catalogue", at, piece)
			}
		}
	}
}

// TestContentsLieOverNoText: the link to the contents, which stays on a narrow screen, is as wide as the page, so
// that no line of text stands half behind it and nothing that has the focus is under it.
func TestContentsLieOverNoText(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 390, 844)
	b.run(chromedp.Navigate(newFakeBench(t, shop(time.Now())).URL + "/help"))
	b.eventually("it stays", `getComputedStyle(document.querySelector(".to-contents")).position === "sticky"`)
	for _, at := range []int{0, 700, 1500, 4000} {
		b.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf("scrollTo({top: %d, behavior: 'instant'})", at)))
		for _, found := range eval[[]string](b, `(() => {
			const bar = document.querySelector(".to-contents").getBoundingClientRect(), found = [];
			for (const e of document.querySelectorAll("main :is(p, dd, dt, h2, h3, li)")) {
				const words = document.createRange();
				words.selectNodeContents(e);
				for (const r of words.getClientRects()) if (r.bottom > bar.top + 1 && r.top < bar.bottom - 1 && (r.left < bar.left - 1 || r.right > bar.right + 1)) found.push(e.innerText.slice(0, 60));
			}
			return found.slice(0, 3);
		})()`) {
			t.Errorf("scrolled by %d px, it lies over %q", at, found)
		}
	}
	b.run(chromedp.Evaluate[chromedp.Void](`[...document.querySelectorAll("main a:not(.to-contents)")].at(-1).focus();undefined`))
	if hidden := eval[bool](b, `document.activeElement.getBoundingClientRect().bottom > document.querySelector(".to-contents").getBoundingClientRect().top`); hidden {
		t.Error("what has the focus is under it")
	}
}

// untagged returns the text of a page, one piece a line.
func untagged(body string) string {
	var b strings.Builder
	inside := false
	for _, r := range body {
		switch {
		case r == '<':
			inside = true
			b.WriteByte('\n')
		case r == '>':
			inside = false
		case !inside:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// TestFiguresLeadToTheirMeaning: where a page tells how long a batch lives, it leads to what the band and the
// risk mean.
func TestFiguresLeadToTheirMeaning(t *testing.T) {
	t.Parallel()
	rows := cansShop(time.Now())
	scenes["idle"](rows, time.Now()) // a mix has the first page to itself
	f, b := newFakeBench(t, rows), openBrowser(t, 800, 1280)
	help := read(t, get(t, "GET", "/help").Body)
	for _, path := range []string{"/", "/presses", "/batches/0611-2"} {
		b.openAt(f, path)
		b.drawn(path)
		for _, name := range []string{"band", "risk"} {
			b.eventually(path+" leads to "+name, `[...document.querySelectorAll('main a[href="/help#`+name+`"]')].some((a) => a.checkVisibility())`)
			if !strings.Contains(help, `id="`+name+`"`) {
				t.Errorf("the help has no %s", name)
			}
		}
	}
}
