package excerpt

import (
	"strings"
	"testing"
	"unicode/utf8"
)

func TestOf(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", ""},
		{"Grün", "Grün"},
		{"Grünes", "Grün…"},
		{"übergroß", "über…"},
		{"a\xff\xfe", "a?"},
		{"\xe4\xe4b\xe4cd", "?b?c…"},
	} {
		if got := Of(c.text, 4); got != c.want {
			t.Errorf("%q: %q, want %q", c.text, got, c.want)
		}
	}
}

// FuzzOf: an excerpt of a valid text begins as the text does, and every excerpt is valid and short enough.
func FuzzOf(f *testing.F) {
	f.Add("übergroß", 4)
	f.Add("\xe4\xffa", 1)
	f.Fuzz(func(t *testing.T, text string, characters int) {
		characters = max(characters, 0) % 1000
		got := Of(text, characters)
		if kept := strings.TrimSuffix(got, "…"); !utf8.ValidString(got) || utf8.RuneCountInString(kept) > characters ||
			utf8.ValidString(text) && !strings.HasPrefix(text, kept) {
			t.Errorf("%q, %d: %q", text, characters, got)
		}
		if utf8.ValidString(text) && utf8.RuneCountInString(text) <= characters && got != text {
			t.Errorf("%q became %q", text, got)
		}
	})
}
