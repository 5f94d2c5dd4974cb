package learn

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Words in place of a sign, in capitals.
var (
	minusWords = map[string]bool{"MINUS": true, "NEG": true, "NEGATIVE": true, "MENO": true, "MOINS": true, "MENOS": true, "BELOW": true}
	// signLetters are a mark for minus and one for plus, where the weights speak for it too.
	signLetters = map[string]bool{"NP": true, "MP": true, "10": true, "-+": true, "-": true, "_": true}
	plusWords   = map[string]bool{"PLUS": true, "POS": true, "POSITIVE": true, "PIU": true, "MAS": true, "ABOVE": true}
)

// readMarks finds out what marks mean that take part in the weight: bits of a status, words in place of
// a sign, and brackets around a weight below zero.
func (t *template) readMarks(c *chosen) {
	t.weightSlot = c.slot
	moving := t.moving(*c)
	t.told = t.tellsMovement(*c, moving) + 1
	for slot, s := range t.slots {
		if slot == c.slot || slot == c.unit || s.kind == number && (t.decimals(slot) > 0 || t.dated(slot)) {
			continue
		}
		if t.readSignWords(slot, c) || t.readBrackets(slot, c, moving) || t.readSignMark(slot, c, moving) {
			continue
		}
		t.readBits(slot, c, moving)
	}
}

// tellsMovement returns the first slot that has a mark for a moving weight and one for a stable one, of which it is known what they
// mean; -1 for none.
func (t *template) tellsMovement(c chosen, moving []bool) int {
	for slot, s := range t.slots {
		if slot == c.slot || slot == c.unit || len(s.counts) < 2 || len(s.counts) > mostMarks {
			continue
		}
		means, known := t.meanings(slot, sortedKeys(s.counts), moving), map[string]bool{}
		for text, m := range means {
			if meanings[strings.ToUpper(text)] == m {
				known[m] = true
			}
		}
		if known["stable"] && known["moving"] || s.kind == word && s.missing() == 0 && len(s.counts) == 2 && t.has(means, "stable") && t.has(means, "moving") {
			return slot
		}
	}
	return -1
}

// has reports whether a row has a text in a slot.
func (t *template) hasText(slot, i int, text string) bool {
	at := t.slots[slot].at[i]
	return at >= 0 && t.rows[i].tokens[at].text == text
}

func (t *template) readSignWords(slot int, c *chosen) bool {
	s := t.slots[slot]
	if t.signed(c.slot) || len(s.counts) > 2 || s.missing() > 0 && len(s.counts) > 1 {
		return false
	}
	minus, fields := "", []string{}
	for _, text := range sortedKeys(s.counts) {
		switch upper := strings.ToUpper(text); {
		case minusWords[upper]:
			minus = text
			fields = append(fields, "minus="+text)
		case plusWords[upper]:
			fields = append(fields, "plus="+text)
		default:
			return false
		}
	}
	if minus == "" || len(fields) == 1 && s.missing() == 0 {
		return false
	}
	t.negate(c.slot, func(i int) bool { return t.hasText(slot, i, minus) })
	if s.missing() > 0 {
		fields = append(fields, "")
	}
	t.fields[slot] = "{" + strings.Join(fields, "|") + "}"
	return true
}

// readSignMark finds one of two marks, or one that comes and goes, that tells a weight below zero.
func (t *template) readSignMark(slot int, c *chosen, moving []bool) bool {
	s := t.slots[slot]
	texts := sortedKeys(s.counts)
	if s.missing() > 0 {
		texts = append(texts, "")
	}
	means := t.meanings(slot, texts, moving)
	if t.signed(c.slot) || t.pounds > 0 || len(texts) != 2 || t.has(means, "moving") || t.has(means, "stable") || s.kind == number && s.missing() > 0 || t.fields[slot] != "" {
		return false
	}
	for k, minus := range texts {
		plus := texts[1-k]
		if minus == "" || len(minus) > 2*mostMarks || strings.ContainsAny(minus+plus, "{}|") || strings.Contains(minus, "+") {
			continue
		}
		set := make([]bool, len(t.rows))
		for i := range set {
			set[i] = t.hasText(slot, i, minus)
		}
		if is, small := t.minusOrSmall(c.slot, set, moving); !is || !small && !signLetters[strings.ToUpper(minus+plus)] {
			continue
		}
		t.negate(c.slot, func(i int) bool { return set[i] })
		t.fields[slot] = "{minus=" + escaped(minus) + "|" + map[bool]string{true: "", false: "plus=" + escaped(plus)}[plus == ""] + "}"
		c.doubts = append(c.doubts, fmt.Sprintf("%q is taken for a minus sign, since it never comes with zero.", minus))
		return true
	}
	return false
}

// readBrackets finds brackets around weights below zero.
func (t *template) readBrackets(slot int, c *chosen, moving []bool) bool {
	s, after := t.slots[slot], c.slot+1
	if t.signed(c.slot) || slot != c.slot-1 || after >= len(t.slots) || len(s.counts) != 1 || s.missing() == 0 || len(t.slots[after].counts) != 1 {
		return false
	}
	opens, closes := sortedKeys(s.counts)[0], sortedKeys(t.slots[after].counts)[0]
	if !slices.Contains([]string{"()", "<>", "[]"}, opens+closes) {
		return false
	}
	set := make([]bool, len(t.rows))
	for i := range set {
		set[i] = t.hasText(slot, i, opens)
		if set[i] != t.hasText(after, i, closes) {
			return false
		}
	}
	if !t.tellsMinus(c.slot, set, moving) {
		return false
	}
	t.negate(c.slot, func(i int) bool { return set[i] })
	t.fields[slot], t.fields[after] = "{minus="+opens+"|}", "{any="+closes+"|}"
	c.doubts = append(c.doubts, "Brackets around the weight are taken for a minus sign.")
	return true
}

// forward finds numbers whose last digit comes first: read that way they are what the display showed, or
// they change in small steps, and read as they are written they do neither.
func (t *template) forward(c chosen, hint Hint) chosen {
	width := 0
	for i, r := range t.rows {
		at := t.slots[c.slot].at[i]
		if at < 0 {
			continue
		}
		n := len(r.tokens[at].text)
		if width == 0 {
			width = n
		}
		if n != width && (n != width-1 || !r.tokens[at].trailing) {
			return c
		}
	}
	asWritten, shown := roughness(t.series(c.slot)), hint.ShownG > 0 && t.wasShown(c, hint.ShownG)
	if width < 5 || t.writing.exponent {
		return c
	}
	t.turn(c.slot)
	backward, turnedShown := roughness(t.series(c.slot)), hint.ShownG > 0 && t.wasShown(chosen{slot: c.slot}, hint.ShownG)
	if turnedShown && backward < asWritten/map[bool]float64{true: 3, false: 1}[shown] || hint.ShownG == 0 && backward < asWritten/4 {
		t.backward = true
		again, ok := t.weight(hint)
		if ok && again.slot == c.slot {
			return again
		}
		t.backward = false
	}
	t.turn(c.slot)
	return c
}

// turn turns the digits of a slot around.
func (t *template) turn(slot int) {
	for i, r := range t.rows {
		if at := t.slots[slot].at[i]; at >= 0 {
			b := []byte(r.tokens[at].plain)
			for i, j := 0, len(b)-1; i < j; i, j = i+1, j-1 {
				b[i], b[j] = b[j], b[i]
			}
			r.tokens[at].plain = string(b)
		}
	}
}

// roughness is how far a series goes in all, in times its spread. A weight goes up and down a few times.
func roughness(list []float64) float64 {
	far, last := 0.0, math.NaN()
	for _, v := range list {
		if d := math.Abs(v - last); !math.IsNaN(d) {
			far += d
		}
		if !math.IsNaN(v) {
			last = v
		}
	}
	return far / max(spread(list), math.SmallestNonzeroFloat64)
}

// withoutNines leaves out rows whose number is all nines or eights and above every other one: so some scales
// write that the weight is out of range.
func withoutNines(rows []row) (kept, nines []row) {
	largest := map[int]float64{} // by the place of the number in the line
	each := func(r row, f func(place int, t token)) {
		place := 0
		for _, t := range r.tokens {
			if t.kind == number {
				f(place, t)
				place++
			}
		}
	}
	for _, r := range rows {
		each(r, func(place int, t token) {
			if !allNines(t) {
				largest[place] = max(largest[place], t.value())
			}
		})
	}
	for _, r := range rows {
		is := false
		each(r, func(place int, t token) {
			is = is || allNines(t) && t.value() > largest[place]*map[bool]float64{true: 1, false: 1.2}[len(t.plain) > 5]
		})
		if is {
			nines = append(nines, r)
		} else {
			kept = append(kept, r)
		}
	}
	if 10*len(nines) > len(rows) {
		return rows, nil
	}
	return kept, nines
}

func allNines(t token) bool {
	digits := strings.Replace(t.plain, ".", "", 1)
	return len(digits) >= 4 && (strings.Trim(digits, "9") == "" || strings.Trim(digits, "8") == "")
}

// ninesField returns the alternatives of a field for the numbers of all nines.
func (t *template) ninesField() []string {
	fields := map[string]int{}
	for _, r := range t.nines {
		for _, token := range r.tokens {
			if token.kind != number || !allNines(token) {
				continue
			}
			from, end := token.column, token.column+len(token.text)
			fields["over="+escaped(r.text.body[from:end])]++
			for from > 0 && strings.IndexByte("+-*#!?^", r.text.body[from-1]) >= 0 {
				from--
			}
			fields["over="+escaped(r.text.body[from:end])]++
		}
	}
	return sortedKeys(fields)
}

// gluedFlag reports whether the last digit of a number without decimals is one of two, whatever the weight, and
// these are not the nought and five of a scale that counts in fives: it may be a flag.
func (t *template) gluedFlag(slot int) string {
	if t.writing.exponent {
		return ""
	}
	last, different := map[byte]bool{}, map[string]bool{}
	for i, r := range t.rows {
		at := t.slots[slot].at[i]
		if at < 0 {
			continue
		}
		text := r.tokens[at].text
		if len(text) < 4 || strings.ContainsAny(text, ".,") {
			return ""
		}
		last[text[len(text)-1]] = true
		different[text[:len(text)-1]] = true
	}
	if len(last) == 1 && len(different) >= 8 && !last['0'] {
		return unsureMark + "The last digit never changes: it may be a mark of its own."
	}
	if len(last) == 2 && len(different) >= 8 && !(last['0'] && last['5']) {
		return unsureMark + fmt.Sprintf("The last digit has %d values, whatever the weight: it may be a mark of its own.", len(last))
	}
	return ""
}
