package learn

import (
	"fmt"
	"strings"
)

// pattern writes the template as a pattern. With loose, words beside the weight that take several forms
// are skipped instead of being listed, as far as their meaning is not known. The
// notes are what is in doubt.
func (t *template) pattern(c chosen, loose bool) (pattern string, notes []string) {
	moving := t.moving(c)
	over := t.outOfRange()
	var b strings.Builder
	fixedUnit := c.unit < 0 || c.letter != ""
	for i := 0; i < len(t.slots); i++ {
		s := t.slots[i]
		if s.gap && (i > 0 || i != c.slot || len(t.nines) > 0) {
			b.WriteByte(' ')
		}
		switch {
		case t.fields[i] != "":
			b.WriteString(t.fields[i])
		case i == c.slot:
			b.WriteString(over + t.weightField(c))
			if fixedUnit && c.unit != i+1 {
				fmt.Fprintf(&b, "{unit=%s}", c.fixed)
			}
		case i == c.unit && c.letter != "":
			if s.missing() > 1 {
				fmt.Fprintf(&b, "{any=%s|moving=}", escaped(c.letter)) // as with {unit?}
			} else {
				b.WriteString(literal(c.letter))
			}
			if i == c.slot+1 {
				fmt.Fprintf(&b, "{unit=%s}", c.fixed)
			}
		case i == c.unit:
			b.WriteString("{unit" + map[bool]string{true: "?"}[s.missing() > 0] + "}")
		case s.kind == number:
			b.WriteString(t.otherNumber(i, moving))
		default:
			text, note := t.mark(i, moving, loose || t.record)
			if pair := grossOrNet(s, c.slot-i); pair != "" && !t.record && !loose {
				text = pair
			}
			b.WriteString(text)
			if note != "" {
				notes = append(notes, note)
			}
		}
	}
	return b.String(), notes
}

// literal writes characters that stand for themselves.
func literal(text string) string {
	return escaped(strings.NewReplacer("{", "{{", "}", "}}").Replace(text))
}

// escaped writes the bytes that are not printable ASCII as a pattern has them.
func escaped(text string) string {
	var b strings.Builder
	for _, c := range []byte(text) {
		if c < ' ' || c > '~' {
			fmt.Fprintf(&b, "\\x%02X", c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}

// weightField is the weight with its sign, before it or after it.
func (t *template) weightField(c chosen) string {
	leading, trailing := false, false
	for i, r := range t.rows {
		if at := t.slots[c.slot].at[i]; at >= 0 && r.tokens[at].signed {
			trailing = trailing || r.tokens[at].trailing
			leading = leading || !r.tokens[at].trailing
		}
	}
	weight := "{weight" + t.numberForm(c.slot)
	pad := ""
	if t.writing.pad != 0 {
		pad = fmt.Sprintf("{pad=%c}", t.writing.pad)
	}
	if c.parts > 1 {
		weight += fmt.Sprintf("/%d", c.parts)
	}
	weight += "}"
	if t.pounds > 0 {
		return pad + weight
	}
	if trailing && !leading {
		return pad + weight + "{sign}"
	}
	return pad + "{sign}" + weight
}

// numberForm is what {weight} needs to read numbers with an apostrophe between thousands, or without
// the nought before the decimal mark, or in another way of writing.
func (t *template) numberForm(slot int) string {
	switch {
	case t.backward:
		return "<"
	case t.writing.bracket:
		return "[]"
	case t.writing.exponent:
		return "E"
	case t.writing.groups != 0 && t.hasGroups(slot):
		return string(rune(t.writing.groups))
	}
	groups, bare := "", false
	for i, r := range t.rows {
		if at := t.slots[slot].at[i]; at >= 0 {
			text := r.tokens[at].text
			bare = bare || !isDigit(text[0])
			if strings.Contains(text, "'") {
				groups = "'"
			}
		}
	}
	if n := t.decimals(slot); bare && n <= 6 {
		return fmt.Sprintf("%s.%d", groups, n)
	}
	return groups
}

// hasGroups reports whether a number has marks between its thousands in any line.
func (t *template) hasGroups(slot int) bool {
	for i, r := range t.rows {
		if at := t.slots[slot].at[i]; at >= 0 && strings.IndexByte(r.tokens[at].text, t.writing.groups) >= 0 {
			return true
		}
	}
	return false
}

// otherNumber is a number that is not the weight: as it is where it never changes, else skipped.
func (t *template) otherNumber(slot int, moving []bool) string {
	texts, widths := map[string]int{}, map[int]bool{}
	s := t.slots[slot]
	signed, clock := false, t.dated(slot)
	for i, r := range t.rows {
		at := s.at[i]
		if at < 0 {
			continue
		}
		token := r.tokens[at]
		texts[token.text]++
		signed = signed || token.signed
		widths[len(token.text)] = true
	}
	switch {
	case len(texts) == 1 && !signed && s.missing() == 0 && !clock && t.decimals(slot) == 0:
		for text := range texts {
			return text
		}
	case len(texts) == 2 && len(widths) == 1 && (widths[1] || widths[2]) && !signed && !clock && s.missing() == 0 && t.decimals(slot) == 0:
		// A flag of one digit or two may tell a stable weight from a moving one.
		all := sortedKeys(texts)
		if means := t.meanings(slot, all, moving); !onlyAny(means) {
			return fmt.Sprintf("{%s=%s|%s=%s}", means[all[0]], all[0], means[all[1]], all[1])
		}
		return fmt.Sprintf("{skip:%d}", len(all[0]))
	case len(texts) <= mostMarks && len(widths) == 1 && !signed && !clock && s.missing() == 0 && len(t.overTexts(slot, sortedKeys(texts))) > 0:
		var fields []string
		means := t.meanings(slot, sortedKeys(texts), moving)
		for _, text := range sortedKeys(texts) {
			fields = append(fields, means[text]+"="+text)
		}
		return "{" + strings.Join(fields, "|") + "}"
	case len(widths) == 1 && !signed && s.missing() == 0 && (!s.gap || t.endsEarly(slot)):
		for n := range widths {
			return fmt.Sprintf("{skip:%d}", n)
		}
	case signed && s.missing() == 0:
		// The sign may stand apart from the digits.
		return "{any=+|any=-|} {skip}"
	}
	return "{skip}"
}

// endsEarly reports whether a skipped number would end at the wrong character: it ends at the one that follows it in the pattern,
// which the number has too, as in a date with points.
func (t *template) endsEarly(slot int) bool {
	if slot+1 >= len(t.slots) || t.slots[slot+1].kind != punct {
		return false
	}
	for i, r := range t.rows {
		if at := t.slots[slot].at[i]; at >= 0 {
			for text := range t.slots[slot+1].counts {
				if strings.Contains(r.tokens[at].text, text) {
					return true
				}
			}
		}
	}
	return false
}

// dated reports whether a number is part of a time or a date.
func (t *template) dated(slot int) bool {
	for _, beside := range []int{slot - 1, slot + 1} {
		if beside > 0 && beside < len(t.slots) && t.slots[beside].kind == punct && !t.slots[beside].gap && t.joined(slot, beside) &&
			(t.slots[beside].counts[":"] > 0 || t.slots[beside].counts["/"] > 0 || t.slots[beside].counts["-"] > 0) {
			return true
		}
	}
	return false
}

// Marks whose meaning is known from common formats, in capitals.
var meanings = map[string]string{
	"ST": "stable", "S": "stable", "STABLE": "stable", "STB": "stable", "OK": "stable", "STILL": "stable",
	"US": "moving", "U": "moving", "UNSTABLE": "moving", "UST": "moving", "D": "moving", "M": "moving", "MO": "moving", "MOT": "moving",
	"MOTION": "moving", "MOVING": "moving", "DYN": "moving", "?": "moving", "~": "moving", "UNST": "moving",
	"N": "net", "NT": "net", "NET": "net", "NETT": "net", "NETTO": "net",
	"G": "gross", "GS": "gross", "GR": "gross", "GROSS": "gross", "B": "gross", "BRUTTO": "gross",
	"OL": "over", "OVER": "over", "OVERLOAD": "over", "OVR": "over", "HI": "over",
	"ERR": "over", "ERROR": "over", "ERREUR": "over", "ERRORE": "over", "FEHLER": "over", "FAULT": "over",
	"UL": "under", "UNDER": "under", "UNDERLOAD": "under", "LO": "under",
}

// pairs are marks that come in turn: where only one was seen, the other one is expected too.
var pairs = map[string]string{
	"ST": "US", "US": "ST", "NT": "GS", "GS": "NT", "NET": "GROSS", "GROSS": "NET", "STABLE": "UNSTABLE", "UNSTABLE": "STABLE",
}

// grossOrNet returns the field for a letter right before the weight that is the same in all lines, and
// changes when the scale is tared; empty for another word.
func grossOrNet(s *slot, toWeight int) string {
	if toWeight == 1 && len(s.counts) == 1 && s.missing() == 0 && (s.counts["G"] > 0 || s.counts["N"] > 0) {
		return "{net=N|gross=G}"
	}
	return ""
}

// mostMarks is how many forms of a word are taken for marks. More are data.
const mostMarks = 6

// mark writes a word or character that is neither number nor unit.
func (t *template) mark(slot int, moving []bool, loose bool) (text, note string) {
	s := t.slots[slot]
	texts, missing := sortedKeys(s.counts), s.missing()
	if missing == 1 && len(t.rows) >= enoughLines {
		missing = 0 // one line of many has lost it
	}
	if len(texts) == 1 && missing == 0 {
		if other := pairs[texts[0]]; other != "" && !loose {
			return fmt.Sprintf("{%s=%s|%s=%s}", meanings[texts[0]], texts[0], meanings[other], other), ""
		}
		return literal(texts[0]), ""
	}
	if len(texts) > mostMarks {
		return t.data(texts, missing)
	}
	all := texts
	if missing > 0 {
		all = append(all[:len(all):len(all)], "")
	}
	means := t.meanings(slot, all, moving)
	if t.told > 0 && t.told != slot+1 && (means[""] == "stable" || means[""] == "moving") {
		means[""] = "any" // another mark tells it
	}
	if width := unknownStatus(means); width > 0 && missing == 0 {
		return fmt.Sprintf("{skip:%d}", width), "It is not known what the status means; it is ignored."
	}
	var fields []string
	for _, text := range all {
		if strings.ContainsAny(text, "{}|") {
			if missing > 0 {
				return literal(text), "" // a pattern has no field for it
			}
			return "{skip:1}", ""
		}
		switch {
		case text == "" && means[text] == "any":
			fields = append(fields, "")
		default:
			fields = append(fields, means[text]+"="+escaped(text))
		}
		if other := pairs[text]; other != "" && s.counts[other] == 0 {
			fields = append(fields, meanings[other]+"="+other)
		}
		if means[text] == "any" && text != "" && note == "" {
			note = fmt.Sprintf("It is not known what %q means; it is ignored.", text)
		}
	}
	if loose && len(texts) > 1 && onlyAny(means) && missing == 0 {
		return "{skip}", note
	}
	return "{" + strings.Join(fields, "|") + "}", note
}

// unknownStatus returns the width of texts that are a status of which nothing is known: several of one width, most
// without a meaning, and none that tells movement or range. It returns 0 for others. Another status may come
// that was not seen.
func unknownStatus(means map[string]string) int {
	width, unknown := 0, 0
	for text, m := range means {
		if width == 0 {
			width = len(text)
		}
		if len(text) != width || m != "any" && m != "gross" && m != "net" {
			return 0
		}
		if m == "any" {
			unknown++
		}
	}
	if unknown < 3 {
		return 0
	}
	return width
}

func onlyAny(means map[string]string) bool {
	for _, m := range means {
		if m != "any" {
			return false
		}
	}
	return true
}

// data is a word that changes like data.
func (t *template) data(texts []string, missing int) (pattern, note string) {
	width := len(texts[0])
	for _, text := range texts {
		if len(text) != width {
			width = 0
		}
	}
	if width > 0 && missing == 0 {
		return fmt.Sprintf("{skip:%d}", width), ""
	}
	return "{skip}", ""
}

// outOfRange returns a field for the words that stand in the place of the weight when it is out of
// range, as far as {weight} does not know them.
func (t *template) outOfRange() string {
	fields := map[string]int{}
	for _, r := range t.silent {
		for _, token := range r.tokens {
			m := meanings[strings.ToUpper(token.text)]
			if (m == "over" || m == "under") && len(token.text) > 2 {
				fields[m+"="+token.text]++
			}
		}
	}
	all := append(sortedKeys(fields), t.ninesField()...)
	if len(all) == 0 {
		return ""
	}
	return "{" + strings.Join(all, "|") + "|}"
}
