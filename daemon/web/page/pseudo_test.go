package page

import (
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/web/label"
	"potlifed/daemon/words"
)

// named are the keys of the API that hold ids, names that people give, and what the bench or a
// person wrote; the bench words its texts in the shop's language itself.
var named = map[string]bool{
	"id": true, "ids": true, "batch": true, "press": true, "zone": true, "sensor": true, "scale": true, "cup": true, "for_press": true, "ink": true,
	"hardener": true, "thinners": true, "hardener_ratio": true, "can": true, "material": true, "subject": true, "bench": true, "which_cup": true,
	"title": true, "batches": true, "was_batch": true, "poured_into": true, "from": true, "month": true,
}

// givenIn collects them from rows, the longest first, so that none is taken out of another.
func givenIn(t *testing.T, rows map[string]any) []string {
	t.Helper()
	data, err := json.Marshal(rows)
	if err != nil {
		t.Fatal(err)
	}
	var v any
	if err := json.Unmarshal(data, &v); err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	var collect func(v any, given bool)
	collect = func(v any, given bool) {
		switch v := v.(type) {
		case map[string]any:
			for key, inner := range v {
				collect(inner, named[key] || carriers[key])
			}
		case []any:
			for _, inner := range v {
				collect(inner, given)
			}
		case string:
			if given && len(v) > 1 {
				found[strings.TrimSuffix(v, ".")] = true
			}
		}
	}
	collect(v, false)
	return slices.SortedFunc(maps.Keys(found), func(a, b string) int { return len(b) - len(a) })
}

// shownTexts lists the texts of the page, or of the open dialog, that a person sees or hears.
const shownTexts = `(() => {
	const top = document.querySelector("dialog[open]") ?? document.documentElement;
	const found = [];
	for (const e of top.querySelectorAll("*")) {
		if (e.matches("script, style, noscript, code, datalist option") || !(e.matches("title, option") || e.checkVisibility())) continue;
		if (e.matches(".id")) continue; // a piece of the text around it, which is not broken
		let run = "";
		for (const n of [...e.childNodes, null]) {
			if (n?.nodeType === 3 || n?.className === "id") run += n.textContent;
			else {
				if (run.trim()) found.push(run.trim());
				run = "";
			}
		}
		for (const a of ["aria-label", "title", "alt", "placeholder"]) if (e.getAttribute(a)) found.push(e.getAttribute(a));
	}
	return [...new Set(found)];
})()`

// TestPseudoLanguage: on every page and in every dialog all texts come from the catalogue, none is cut or
// leaves its place when it is 40 % longer, and no temperature is in °C where the shop has °F.
func TestPseudoLanguage(t *testing.T) {
	t.Parallel()
	pseudo := words.Pseudo(words.English())
	locale := words.Locale{Language: pseudo, Fahrenheit: true}
	b := openBrowser(t, int(narrow.width), int(narrow.height))
	dialogs := 0
	for _, path := range append(pagePaths(), "/batches/0611-2", "/presses?wall") {
		for _, scene := range []string{"pouring", "over", "waiting", "which-cup", "idle", "troubled", "resting", "plant", "empty", "welcome"} {
			if scene != "welcome" && !shows(path, scene) || scene == "welcome" && path != "/" || path == "/presses?wall" && scene != "pouring" {
				continue
			}
			now := time.Now()
			rows := cansShop(now)
			if scene == "welcome" {
				rows = newShop(now)
			} else {
				scenes[scene](rows, now)
			}
			closed, _ := closedShop()
			rows["closed"] = closed["closed"]
			rows["learning"] = map[string]any{"verdict": "12 ends, 48 used up", "cautions": []string{"few ends"}, "acceptable": true}
			f := newFakeBenchIn(t, rows, locale)
			f.recipe = coarseRecipe()
			given := append(givenIn(t, map[string]any{"recipe": f.recipe}), givenIn(t, rows)...)
			b.openAt(f, path)
			if path != "/presses?wall" {
				b.drawn(path)
			}
			b.run(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach((d) => (d.open = true))`))
			b.isPseudo(path+" "+scene, given)
			b.wraps(path+" "+scene, narrow, wide, wall)
			if scene != "idle" && scene != "over" && scene != "resting" || path != "/" && scene != "idle" {
				continue // the same dialogs
			}
			dialogs += b.pseudoDialogs(path+" "+scene, pseudo, given)
		}
	}
	if dialogs < 20 {
		t.Errorf("only %d dialogs were found", dialogs)
	}
}

// isPseudo fails for each text that is not from the catalogue.
func (b *browser) isPseudo(what string, given []string) {
	b.t.Helper()
	for _, text := range eval[[]string](b, shownTexts) {
		if english := words.NotPseudo(text, given...); english != "" {
			b.t.Errorf("%s: %q of %q is not from the catalogue", what, english, text)
		}
	}
}

// pseudoDialogs judges the dialogs that the buttons of a page lead to, and those that these lead to,
// and returns how many there were.
func (b *browser) pseudoDialogs(what string, pseudo *words.Language, given []string) (opened int) {
	b.t.Helper()
	lead := func(selector string) (names []string) {
		skipped := []string{pseudo.Say("closed.further"), pseudo.Say("bench.start-next")}
		for _, name := range eval[[]string](b, fmt.Sprintf(`[...document.querySelectorAll(%s)].filter((e) => e.checkVisibility()).map((e) => e.innerText.split("\n")[0].trim())`, quoted(selector))) {
			if strings.Contains(name, "…") && !slices.Contains(skipped, name) && !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
		return names
	}
	show := func(selector, name string) {
		b.clickNamed(selector, name)
		b.eventually(name+" opens a dialog", fmt.Sprintf(`document.querySelectorAll("dialog[open]").length === 1 && ![...document.querySelectorAll("dialog[open] button")].some((e) => e.innerText.startsWith(%s))`, quoted(name)))
	}
	judge := func(name string) {
		opened++
		b.isPseudo(what+": "+name, given)
		b.wraps(what+": "+name, narrow)
	}
	back := func() {
		b.press(pseudo.Say("dialog.back"))
		b.closed()
	}
	for _, name := range lead("button") {
		show("button", name)
		judge(name)
		for _, option := range lead("dialog[open] button") {
			show("dialog[open] button", option)
			judge(option)
			back()
			show("button", name)
		}
		back()
	}
	return opened
}

// TestLabelPageInPseudoLanguage: the page of a label is made for each label.
func TestLabelPageInPseudoLanguage(t *testing.T) {
	pages := In(words.Locale{Language: words.Pseudo(words.English())})
	tag := regexp.MustCompile(`<[^>]*>`)
	for _, why := range []string{"", "[nö]"} {
		body, err := pages.Label(label.Label{Batch: "0612-1"}, why, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range tag.Split(string(body), -1) {
			if english := words.NotPseudo(text, "0612-1"); english != "" {
				t.Errorf("%q of %q is not from the catalogue", english, text)
			}
		}
	}
	body, err := pages.Refused("[nö]", "[räw]")
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range tag.Split(string(body), -1) {
		if english := words.NotPseudo(text); english != "" {
			t.Errorf("%q of %q is not from the catalogue", english, text)
		}
	}
}
