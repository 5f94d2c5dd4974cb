// Package excerpt shortens texts that come from outside the program, for messages, logs and rows.
package excerpt

import "strings"

// Short returns the first 80 characters of a text, as [Of] does.
func Short(text string) string { return Of(text, 80) }

// Of returns a text of at most the given number of characters, and "…" in place of the rest of a
// longer one. Each run of bytes that are not UTF-8 becomes one "?".
func Of(text string, characters int) string {
	text = strings.ToValidUTF8(text, "?")
	for i := range text {
		if characters == 0 {
			return text[:i] + "…"
		}
		characters--
	}
	return text
}
