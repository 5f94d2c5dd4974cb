package words

import (
	"maps"
	"regexp"
	"strings"
	"unicode"
)

// Pseudo returns a language made from l: each text with words has accents and brackets, is at
// least 40 % longer, and keeps its placeholders. A page that is shown in it proves that no text is missing
// from the catalogue, and that longer texts of another language are not cut. It is for tests.
func Pseudo(l *Language) *Language {
	p := &Language{tag: l.tag, texts: map[string]Text{}}
	for key, t := range l.texts {
		made := Text{Other: pseudo(t.Other)}
		if t.Plural != nil {
			made.Plural = maps.Clone(t.Plural)
			for category, text := range made.Plural {
				made.Plural[category] = pseudo(text)
			}
		}
		p.texts[key] = made
	}
	return p
}

var accents = strings.NewReplacer(
	"a", "á", "c", "ç", "e", "é", "i", "í", "n", "ñ", "o", "ö", "s", "š", "u", "ü", "y", "ý", "z", "ž",
	"A", "Á", "C", "Ç", "E", "É", "I", "Í", "N", "Ñ", "O", "Ö", "S", "Š", "U", "Ü", "Y", "Ý", "Z", "Ž")

// filler makes a text longer. It has spaces, as words have, so that lines may break.
const filler = "lorém ípsüm dölör sít ámét çönséctétür ádípísçíng élít séd dö éíüsmöd témpör íñçídídüñt üt láböré "

func pseudo(text string) string {
	if !strings.ContainsFunc(placeholder.ReplaceAllString(text, ""), unicode.IsLetter) {
		return text // a form of a figure, not words
	}
	var b strings.Builder
	b.WriteString("[")
	last, letters := 0, 0
	for _, at := range placeholder.FindAllStringIndex(text, -1) {
		b.WriteString(accents.Replace(text[last:at[0]]))
		b.WriteString(text[at[0]:at[1]])
		letters += at[0] - last
		last = at[1]
	}
	b.WriteString(accents.Replace(text[last:]))
	letters += len(text) - last
	more := []rune(strings.Repeat(filler, 1+letters/len(filler)))
	b.WriteString(" ")
	b.WriteString(strings.TrimSpace(string(more[:(letters*2+4)/5])))
	b.WriteString("]")
	return b.String()
}

var (
	inBrackets = regexp.MustCompile(`\[[^\[\]]*\]`)
	// Units, and names of days and months, which follow from the language by themselves.
	universal = regexp.MustCompile(`°F|\b(potlifed|g|s|h|min|mm|Mon|Tue|Wed|Thu|Fri|Sat|Sun|Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b`)
	lettersIn = regexp.MustCompile(`\p{L}+`)
)

// NotPseudo returns what of a text in the language of [Pseudo], with temperatures in °F, is neither from
// the catalogue nor given, as an id is; empty for a text that is. given may be in upper or lower case. It
// is for tests.
func NotPseudo(text string, given ...string) string {
	lower := strings.ToLower(text)
	for _, g := range given {
		for {
			i := strings.Index(lower, strings.ToLower(g))
			if i < 0 {
				break
			}
			text, lower = text[:i]+"#"+text[i+len(g):], lower[:i]+"#"+lower[i+len(g):]
		}
	}
	for inBrackets.MatchString(text) {
		text = inBrackets.ReplaceAllString(text, "#")
	}
	return strings.Join(lettersIn.FindAllString(universal.ReplaceAllString(text, "#"), -1), " ")
}
