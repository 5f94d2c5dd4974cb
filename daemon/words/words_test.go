package words

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/daemon/request"
	"potlifed/model/alarm"
	"potlifed/model/guide"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// last is the line that keeps every other line of a catalogue ending in a comma.
const last = "~"

func languages(t *testing.T) map[string]*Language {
	t.Helper()
	all := map[string]*Language{}
	for _, code := range Codes() {
		b, err := files.ReadFile(code + ".json")
		if err != nil {
			t.Fatal(err)
		}
		l, err := parse(code, b)
		if err != nil {
			t.Fatal(err)
		}
		all[code] = l
	}
	return all
}

var keyShape = regexp.MustCompile(`^[a-z][a-z0-9-]*(\.[a-z0-9][a-z0-9-]*)+$`)

func TestCataloguesAreSound(t *testing.T) {
	for code, l := range languages(t) {
		for key, text := range l.texts {
			if key == last {
				continue
			}
			if !keyShape.MatchString(key) {
				t.Errorf("%s: key %q", code, key)
			}
			counted := slices.Contains(placeholders(text), "n")
			if text.Plural == nil && strings.Contains(text.Other, "{n}") && !counted {
				t.Errorf("%s: %s: placeholders %v", code, key, placeholders(text))
			}
			if text.Plural != nil {
				if got, want := slices.Sorted(maps.Keys(text.Plural)), categories(l); !slices.Equal(got, want) {
					t.Errorf("%s: %s has the plural categories %v, the language has %v", code, key, got, want)
				}
				if !counted {
					t.Errorf("%s: %s has plural categories and no {n}", code, key)
				}
			}
			for _, one := range append(slices.Collect(maps.Values(text.Plural)), text.Other) {
				if strings.TrimSpace(one) != one || one == "" {
					t.Errorf("%s: %s: %q is empty, or begins or ends with a space", code, key, one)
				}
				if strings.ContainsAny(placeholder.ReplaceAllString(one, ""), "{}") {
					t.Errorf("%s: %s: %q has a brace that is not of a placeholder", code, key, one)
				}
			}
		}
	}
}

// TestNoKeyIsGivenTwice: of two lines with one key, as a merge of branches may leave, a reader
// takes the last.
func TestNoKeyIsGivenTwice(t *testing.T) {
	for _, code := range Codes() {
		b, err := files.ReadFile(code + ".json")
		if err != nil {
			t.Fatal(err)
		}
		if tail := "\n  \"" + last + "\": "; strings.Count(string(b), tail) != 1 || strings.Count(string(b[strings.Index(string(b), tail)+1:]), "\n") != 2 {
			t.Errorf("%s.json: the line %q must be the last one: put new lines before it", code, last)
		}
		d := json.NewDecoder(strings.NewReader(string(b)))
		seen := map[string]bool{}
		_, _ = d.Token() // the opening brace
		for d.More() {
			key, err := d.Token()
			if err != nil {
				t.Fatal(err)
			}
			if seen[key.(string)] {
				t.Errorf("%s.json has %s twice", code, key)
			}
			seen[key.(string)] = true
			var text Text
			if err := d.Decode(&text); err != nil {
				t.Fatalf("%s.json: %s: %v", code, key, err)
			}
		}
	}
}

func TestLanguagesHaveTheSameTexts(t *testing.T) {
	all := languages(t)
	want := shape(all["en"])
	all["pseudo"] = Pseudo(all["en"])
	for code, l := range all {
		if diff := cmp.Diff(want, shape(l)); diff != "" {
			t.Errorf("%s differs from en:\n%s", code, diff)
		}
	}
}

// shape returns the placeholders of each key.
func shape(l *Language) map[string][]string {
	shape := map[string][]string{}
	for key, text := range l.texts {
		shape[key] = placeholders(text)
	}
	return shape
}

func TestSay(t *testing.T) {
	l, err := parse("pl", []byte(`{
		"a.plain": "Dzień dobry",
		"a.value": "{ink} dla {press}, {ink}",
		"a.count": {"one": "{n} nadruk", "few": "{n} nadruki", "many": "{n} nadruków", "other": "{n} nadruku"}
	}`))
	if err != nil {
		t.Fatal(err)
	}
	for want, got := range map[string]string{
		"Dzień dobry":                         l.Say("a.plain"),
		"gloss-4 dla press-1, gloss-4":        l.Say("a.value", "ink", "gloss-4", "press", "press-1"),
		"gloss-4 dla {press}, gloss-4 (open)": l.Say("a.value", "ink", "gloss-4") + " (open)",
		"1 nadruk":                            l.Say("a.count", "n", 1),
		"3 nadruki":                           l.Say("a.count", "n", 3),
		"12 nadruków":                         l.Say("a.count", "n", 12),
		"b.none":                              l.Say("b.none", "n", 12),
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	// CLDR, cardinal, pl: one, few, many, other.
	if got := categories(l); !slices.Equal(got, []string{"few", "many", "one"}) && !slices.Equal(got, []string{"few", "many", "one", "other"}) {
		t.Errorf("Polish has the categories %v", got)
	}
}

// TestAValueIsNotRead: what stands in a value is never taken for a placeholder.
func TestAValueIsNotRead(t *testing.T) {
	l, err := parse("en", []byte(`{"a.b": "{x} and {y}"}`))
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		x, y := rapid.String().Draw(t, "x"), rapid.StringMatching(`[{}xyn ]*`).Draw(t, "y")
		if got := l.Say("a.b", "x", x, "y", y); got != x+" and "+y {
			t.Fatalf("%q", got)
		}
	})
}

// TestPseudoIsLonger: each text is at least 40 % longer, and is told from one that is not of the
// catalogue.
func TestPseudoIsLonger(t *testing.T) {
	en := English()
	for key, text := range Pseudo(en).texts {
		was := en.texts[key].Other
		if words := placeholder.ReplaceAllString(was, ""); !strings.ContainsFunc(words, unicode.IsLetter) {
			if text.Other != was {
				t.Errorf("%s: %q, want the figure as it is", key, text.Other)
			}
			continue
		}
		filled := placeholder.ReplaceAllString(was, "")
		if got := utf8.RuneCountInString(placeholder.ReplaceAllString(text.Other, "")); 5*got < 7*utf8.RuneCountInString(filled) {
			t.Errorf("%s: %q is not 40 %% longer than %q", key, text.Other, was)
		}
		if !strings.HasPrefix(text.Other, "[") || !strings.HasSuffix(text.Other, "]") {
			t.Errorf("%s: %q has no brackets", key, text.Other)
		}
	}
}

// TestFixedWordsHaveNames: the words of types that are put into a sentence have a name, and each
// alarm is described without an open placeholder.
func TestFixedWordsHaveNames(t *testing.T) {
	var l Locale
	for _, p := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
		if got := l.value("part", p); got == "part."+string(p) {
			t.Errorf("part %s has no name", p)
		}
	}
	for _, s := range []guide.Step{guide.Cup, guide.Ink, guide.Hardener, guide.StirHardener, guide.Thinner, guide.StirThinner, guide.Rest, guide.Load} {
		if got := l.value("step", s); got == "step."+string(s) {
			t.Errorf("step %s has no name", s)
		}
	}
	for _, k := range []request.RefusalKind{request.NotFound, request.NotNow, request.Invalid, request.TooLong, request.Unavailable} {
		if got := l.RefusalOf(k); strings.HasPrefix(got, "refusal-kind.") {
			t.Errorf("a refusal %q has no text", k)
		}
	}
	for _, d := range alarm.Definitions() {
		a := l.Alarm(d.Name)
		for _, text := range []string{a.Title, a.Cause, a.Limit, a.Response} {
			if strings.HasPrefix(text, "alarm.") || strings.ContainsAny(text, "{}") {
				t.Errorf("%s: %q", d.Name, text)
			}
		}
	}
}

func TestValuesOfAMessage(t *testing.T) {
	var l Locale
	for want, got := range map[string]any{
		"14.2 g": l.value("poured_g", 14.24), "83 g": l.value("enough_g", 83), "26 %": l.value("off_pct", 26), "13.7 %": l.value("uncertainty_pct", 13.66),
		"8 min": l.value("left", 8*time.Minute), "ink": l.value("part", mix.Ink), "0612-1, 0612-2": l.value("mixes", []string{"0612-1", "0612-2"}), "0612-1": l.value("mix", "0612-1"),
	} {
		if plainly(fmt.Sprint(got)) != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// TestEveryReasonIsSaid: whatever a light's table decides has a sentence, and a sentence about a
// mix names it.
func TestEveryReasonIsSaid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		is := func(name string) bool { return rapid.Bool().Draw(t, name) }
		p := light.Press{
			Loaded: is("loaded"), ReportedDead: is("dead"), PartWentOff: is("part"), PartWentOffElder: is("elder"), TestFailed: is("test failed"), AdhesionFirst: is("adhesion"), FaultOpen: is("fault"), Resting: is("rests"),
			QualityBad: is("bad"), QualityUncertain: is("uncertain"), AtLeast: is("at least"), Starting: is("starting"), PrintingWithoutBatch: is("prints"),
			Risk: rapid.SampledFrom([]float64{0, 0.5, math.NaN()}).Draw(t, "risk"), StopAtRisk: 0.25, SoonWithin: time.Hour,
			LowRemaining: time.Duration(rapid.IntRange(0, 2).Draw(t, "left")) * time.Hour,
			Ready:        rapid.SampledFrom([]string{"", "1129-4"}).Draw(t, "ready"), Coming: rapid.SampledFrom([]string{"", "1129-5"}).Draw(t, "coming"),
		}
		p.ReadyInk = rapid.SampledFrom([]string{"", "dial-flat"}).Draw(t, "ready ink")
		p.RatioReason = rapid.SampledFrom([]string{"", "only for a trial print."}).Draw(t, "ratio")
		p.Alarm = rapid.SampledFrom([]string{"", alarm.LifeCut}).Draw(t, "alarm")
		s := light.Of(p)
		got := Locale{}.LightReason(s, "press-1")
		if !strings.Contains(got, s.MixInk) {
			t.Fatalf("%+v: %q does not name the ink", s, got)
		}
		if out := p.Loaded && p.RatioReason != ""; out != strings.Contains(got, "Out of ratio, used because: only for a trial print.") || strings.Contains(got, "..") {
			t.Fatalf("%+v: %q of a batch that is used out of ratio: %v", s, got, out)
		}
		if s.Past && (strings.Contains(got, "soon") || !strings.Contains(got, "may end now")) {
			t.Fatalf("%+v: %q of ink that may end now", s, got)
		}
		if s.Failed && !strings.HasPrefix(got, "The last test of a print failed: stop") {
			t.Fatalf("%+v: %q does not say that a test failed", s, got)
		}
		if s.Flashing && s.Alarm != "" && !strings.Contains(got, "Life got shorter") {
			t.Fatalf("%+v: %q does not say for which alarm it flashes", s, got)
		}
		if !strings.HasSuffix(got, ".") || strings.ContainsAny(got, "{}") || strings.HasPrefix(got, "reason") || !strings.Contains(got, s.Mix) {
			t.Fatalf("%+v: %q", s, got)
		}
	})
}

// A catalogue takes milliseconds to read, and is asked for many times in an answer.
func TestALanguageIsReadOnce(t *testing.T) {
	for _, code := range Codes() {
		first, ok := In(code)
		second, _ := In(code)
		if !ok || first != second {
			t.Errorf("%s: %p, then %p", code, first, second)
		}
	}
	if _, ok := In("xx"); ok {
		t.Error("xx is no language")
	}
}

// placeholders returns the names of the placeholders of the text, each once, sorted.
func placeholders(t Text) []string {
	names := map[string]bool{}
	for _, text := range append(slices.Collect(maps.Values(t.Plural)), t.Other) {
		for _, found := range placeholder.FindAllStringSubmatch(text, -1) {
			names[found[1]] = true
		}
	}
	return slices.Sorted(maps.Keys(names))
}

// categories returns the plural categories that the language has, sorted. A count up to 200 and
// a million show every one of them.
func categories(l *Language) []string {
	has := map[string]bool{"other": true, l.category(1_000_000): true}
	for n := range 200 {
		has[l.category(n)] = true
	}
	return slices.Sorted(maps.Keys(has))
}
