// Package words holds everything that a person reads on a page, on a label and in an alarm: one
// file for each language, en.json for English. A translation is one more such file.
//
// Texts that only engineers read stay in English in the code: the command line, the log, the
// descriptions of the API and of the topics, and the detail of a refusal or of a fault.
//
// # The catalogue
//
// A file is a JSON object on lines of their own, so that branches merge: a key, and its text. A
// key names the page or the subject and then the text, in lower case with dots and hyphens:
// "alarms.acknowledge". In a text, a name in braces is a placeholder: "{ink} for {press}". A text
// that depends on a count is an object with one text for each plural category that the language
// has (Unicode CLDR: zero, one, two, few, many, other); the placeholder n is the count:
//
//	"board.prints": {"one": "{n} print", "other": "{n} prints"},
//
// # Adding a text
//
// Put the key into every file. Use it in Go by [Locale.Say] or [Language.Say], in a template of
// a page by {{say "key"}}, in a module of a page by say("key", {ink: …}) of lib/words.js. A key is
// written out where it is used; where one part of it is a value, the rest is written out around
// that: "light."+string(meaning)+".name", or `light.${meaning}.name` in a module. After a change
// of the keys, or of the placeholders, write the types of the pages again:
//
//	go test ./daemon/words -run PageTypes -update
//
// The tests of this package refuse a key that is used and missing, one that is never used, a
// placeholder that is not filled, and languages that differ in their keys or placeholders.
package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

//go:embed *.json
var files embed.FS

// Language holds the texts of one language. It never changes.
type Language struct {
	tag   language.Tag
	texts map[string]Text
}

// Text is one text of a catalogue. Other is the text, or the one of the plural category "other";
// Plural has those of all categories of a text that depends on a count, and is nil for any other.
type Text struct {
	Other  string
	Plural map[string]string
}

// UnmarshalJSON reads a text, or an object of texts by plural category.
func (t *Text) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		return json.Unmarshal(b, &t.Other)
	}
	if err := json.Unmarshal(b, &t.Plural); err != nil {
		return err
	}
	var ok bool
	if t.Other, ok = t.Plural["other"]; !ok {
		return fmt.Errorf("a text by plural category without the category other: %s", b)
	}
	return nil
}

// MarshalJSON writes the text as UnmarshalJSON reads it.
func (t Text) MarshalJSON() ([]byte, error) {
	if t.Plural != nil {
		return json.Marshal(t.Plural)
	}
	return json.Marshal(t.Other)
}

// placeholder is a name in braces.
var placeholder = regexp.MustCompile(`\{([a-z][a-z0-9_]*)\}`)

// English returns the English texts, which the program always has.
func English() *Language { return english() }

var english = sync.OnceValue(func() *Language {
	l, err := read("en")
	if err != nil {
		panic(err) // the tests of this package read it
	}
	return l
})

// In returns the texts of a language by its code, such as "en". ok is false when there are none.
func In(code string) (l *Language, ok bool) {
	l, ok = every()[code]
	return l, ok
}

// every reads all languages once: names of defects are asked for many times in an answer, and reading a
// catalogue takes some milliseconds.
var every = sync.OnceValue(func() map[string]*Language {
	all := map[string]*Language{}
	for _, code := range Codes() {
		if l, err := read(code); err == nil {
			all[code] = l
		}
	}
	return all
})

func read(code string) (*Language, error) {
	b, err := files.ReadFile(code + ".json")
	if err != nil {
		return nil, fmt.Errorf("words: %w", err)
	}
	return parse(code, b)
}

// Codes returns the codes of the languages that there are, sorted.
func Codes() []string {
	entries, _ := files.ReadDir(".")
	codes := make([]string, 0, len(entries))
	for _, e := range entries {
		codes = append(codes, strings.TrimSuffix(e.Name(), ".json"))
	}
	return codes
}

func parse(code string, b []byte) (*Language, error) {
	tag, err := language.Parse(code)
	if err != nil {
		return nil, fmt.Errorf("words: language %s: %w", code, err)
	}
	l := &Language{tag: tag}
	if err := json.Unmarshal(b, &l.texts); err != nil {
		return nil, fmt.Errorf("words: %s.json: %w", code, err)
	}
	return l, nil
}

// Code returns the code of the language (BCP 47), for an HTML document's attribute lang.
func (l *Language) Code() string { return l.tag.String() }

// Say returns the text of a key. args are the names of its placeholders, each before its value:
// a string, or a whole number; n is a whole number. A key that does not exist gives the key, and
// a placeholder without a value stays; the tests of this package refuse both.
func (l *Language) Say(key string, args ...any) string {
	t, ok := l.texts[key]
	if !ok {
		return key
	}
	text := t.Other
	if t.Plural != nil {
		count, _ := valueOf("n", args)
		if n, counted := count.(int); counted {
			if one, ok := t.Plural[l.category(n)]; ok {
				text = one
			}
		}
	}
	return filled(text, args)
}

// filled returns a text with the values of its placeholders. A snapshot says dozens of texts and
// is made for each line of a scale, so this does without [placeholder], which takes ten times as
// long.
func filled(text string, args []any) string {
	if len(args) == 0 || !strings.Contains(text, "{") {
		return text
	}
	var b strings.Builder
	b.Grow(len(text) + 12*len(args))
	for {
		before, rest, open := strings.Cut(text, "{")
		name, after, closed := strings.Cut(rest, "}")
		b.WriteString(before)
		if !open {
			return b.String()
		}
		v, known := valueOf(name, args)
		if !closed || !known {
			b.WriteByte('{')
			text = rest
			continue
		}
		switch v := v.(type) {
		case string:
			b.WriteString(v)
		case int:
			b.WriteString(strconv.Itoa(v))
		default:
			fmt.Fprint(&b, v)
		}
		text = after
	}
}

// valueOf returns the value that follows its name in args.
func valueOf(name string, args []any) (v any, ok bool) {
	for i := len(args) - 2; i >= 0; i-- { // the last one counts
		if s, is := args[i].(string); is && s == name && i%2 == 0 {
			return args[i+1], true
		}
	}
	return nil, false
}

// category returns the plural category of a whole number, by its CLDR name.
func (l *Language) category(n int) string {
	return forms[plural.Cardinal.MatchPlural(l.tag, max(n, -n), 0, 0, 0, 0)]
}

// forms are the CLDR names of the plural forms.
var forms = map[plural.Form]string{
	plural.Other: "other", plural.Zero: "zero", plural.One: "one", plural.Two: "two", plural.Few: "few", plural.Many: "many",
}
