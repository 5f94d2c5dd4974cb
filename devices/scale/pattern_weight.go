package scale

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// parseWeight reads what follows "weight" in a field.
func parseWeight(text string) (e element, err error) {
	e.kind = weightElement
	text = e.parseForm(text)
	text, parts, ok := strings.Cut(text, "/")
	if ok {
		if e.shift = map[string]int{"10": 1, "100": 2, "1000": 3}[parts]; e.shift == 0 || e.exponent {
			return e, fmt.Errorf("parts %q: want 10, 100 or 1000, and no exponent beside it", parts)
		}
	}
	text, decimals, ok := strings.Cut(text, ".")
	if ok {
		if len(decimals) != 1 || decimals[0] < '1' || decimals[0] > '6' || e.shift > 0 {
			return e, fmt.Errorf("decimals %q: want a digit from 1 to 6, and no parts beside it", decimals)
		}
		e.decimals = int(decimals[0] - '0')
	}
	width, ok := strings.CutPrefix(text, ":")
	switch {
	case ok:
		e.width, err = parseWidth(width)
	case text != "":
		err = fmt.Errorf("weight%s: want {weight}, {weight:8}, {weight.3}, {weight/10}, {weight'}, {weight[]}, {weightE} or {weight<}", text)
	}
	return e, err
}

// parseForm takes how the digits are written off the beginning of what follows "weight".
func (e *element) parseForm(text string) (rest string) {
	switch {
	case strings.HasPrefix(text, "[]"):
		e.bracket = true
		return text[2:]
	case strings.HasPrefix(text, "E"):
		e.exponent = true
		return text[1:]
	case strings.HasPrefix(text, "<"):
		e.backward = true
		return text[1:]
	case text != "" && strings.IndexByte("', .", text[0]) >= 0 && (text[0] != '.' || len(text) < 2 || strings.IndexByte(":/.", text[1]) >= 0):
		e.groups = text[0]
		return text[1:]
	}
	return text
}

// parseBits reads what follows "bits:" in a field.
func parseBits(text string) (element, error) {
	width, rest, _ := strings.Cut(text, "|")
	e := element{kind: bitsElement, width: map[string]int{"1": 1, "2": 2, "4": 4}[width]}
	if e.width == 0 || rest == "" {
		return e, fmt.Errorf("bits:%s: want 1 for a character, or 2 or 4 for so many hexadecimal digits, and then what its bits mean, such as {bits:2|moving=0|over=3}", width)
	}
	highest := map[int]int{4: 15}[e.width]
	if highest == 0 {
		highest = 7
	}
	for part := range strings.SplitSeq(rest, "|") {
		name, written, _ := strings.Cut(part, "=")
		means, known := fieldNames[name]
		bit, err := strconv.Atoi(written)
		if !known || err != nil || bit < 0 || bit > highest {
			return e, fmt.Errorf("%q: want what a bit means, such as moving=0, with a bit from 0, the lowest, to %d", part, highest)
		}
		e.bits[bit] = means
	}
	return e, nil
}

// unescaped returns a pattern with \\xE9 and é, which mean the same byte, as that byte. The others of the
// bytes that are not printable ASCII are written so too. The ends of a line cannot stand in a pattern.
func unescaped(pattern string) (string, error) {
	var b strings.Builder
	for i := 0; i < len(pattern); {
		if strings.HasPrefix(pattern[i:], `\x`) && i+3 < len(pattern) {
			if c, ok := fromHex(pattern[i+2], pattern[i+3]); ok {
				b.WriteByte(c)
				i += 4
				continue
			}
		}
		if c := pattern[i]; c < 0x80 {
			if c < ' ' || c > '~' {
				return "", fmt.Errorf("character %d is not printable ASCII: write it as \\x%02X", i+1, c)
			}
			b.WriteByte(c)
			i++
			continue
		}
		r, n := utf8.DecodeRuneInString(pattern[i:])
		if r == utf8.RuneError || r > 0xff {
			return "", fmt.Errorf("character %d is not one of a scale, which sends bytes: want ASCII, a letter of Latin-1 such as é, or a byte such as \\xE9", i+1)
		}
		b.WriteByte(byte(r))
		i += n
	}
	if i := strings.IndexAny(b.String(), "\x00\r\n\x02\x03"); i >= 0 {
		return "", fmt.Errorf("the byte 0x%02X ends a line or begins one", b.String()[i])
	}
	return b.String(), nil
}
