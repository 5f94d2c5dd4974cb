package learn

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
)

var part = regexp.MustCompile(`[0-9A-Za-z]+(\.[0-9]+)?`)

// withStatus marks where lines have a status of two hexadecimal digits: the same part of each line, with a
// letter among the digits in some, or a letter in place of both.
func withStatus(lines []text) []text {
	for k := range 6 {
		texts, columns, letters := map[string]bool{}, make([]int, len(lines)), false
		fit := 0
		for i, l := range lines {
			found := part.FindAllStringIndex(l.body, k+1)
			if len(found) <= k || found[k][1]-found[k][0] != 2 {
				continue
			}
			text := l.body[found[k][0]:found[k][1]]
			if !isHex(text) || text != strings.ToUpper(text) && text != strings.ToLower(text) {
				continue
			}
			fit++
			columns[i], texts[text] = found[k][0]+1, true
			letters = letters || isLetter(text[0]) != isLetter(text[1])
		}
		if letters && len(texts) > 1 && fit >= fewestLines && 20*fit >= 19*len(lines) {
			list := make([]text, len(lines))
			for i, l := range lines {
				list[i] = l
				list[i].status = columns[i]
			}
			return list
		}
	}
	return lines
}

// fewestLetters is how many letters a status of one character has that is read bit by bit. Two or three are
// marks.
const fewestLetters = 4

// bitsOf returns how many characters the status in a slot has, 0 where it is none, and its value in each row,
// -1 where the row has none.
func (t *template) bitsOf(slot int) (width int, values []int) {
	s := t.slots[slot]
	if s.kind != word || 20*s.missing() > len(t.rows) {
		return 0, nil
	}
	for i, r := range t.rows {
		at := s.at[i]
		if at < 0 {
			values = append(values, -1)
			continue
		}
		text := r.tokens[at].text
		if width == 0 {
			width = len(text)
		}
		if len(text) != width || width > 2 || width == 2 && !isHex(text) {
			return 0, nil
		}
		value := int(text[0])
		if width == 2 {
			_, _ = fmt.Sscanf(text, "%x", &value)
		}
		values = append(values, value)
	}
	if width == 1 && len(s.counts) < fewestLetters {
		return 0, nil
	}
	return width, values
}

// readBits finds out what the bits of a status mean, and writes its field.
func (t *template) readBits(slot int, c *chosen, moving []bool) {
	width, values := t.bitsOf(slot)
	if width == 0 {
		return
	}
	var parts []string
	minus, stability, best := -1, "", 0.0
	var left []int // bits that are not known yet
	for bit := range 8 {
		set := withBit(values, bit)
		switch {
		case !slices.Contains(set, true) || !slices.Contains(set, false):
		case t.tellsOver(c.slot, set, false):
			parts = append(parts, fmt.Sprintf("over=%d", bit))
			t.markOver(set)
		default:
			left = append(left, bit)
		}
	}
	for _, bit := range left {
		set := withBit(values, bit)
		with, without := sharesOf(set, moving, t.over)
		switch d := with - without; {
		case d > max(best, 0.45) && with > 0.6 && without < 0.4:
			stability, best = fmt.Sprintf("moving=%d", bit), d
		case -d > max(best, 0.45) && without > 0.6 && with < 0.4:
			stability, best = fmt.Sprintf("stable=%d", bit), -d
		case !t.signed(c.slot) && t.tellsMinus(c.slot, set, moving):
			if minus >= 0 {
				return // two bits could be it
			}
			minus = bit
		}
	}
	if stability == "" && minus < 0 {
		return
	}
	if stability != "" {
		parts = append(parts, stability)
	}
	if minus >= 0 {
		parts = append(parts, fmt.Sprintf("minus=%d", minus))
		t.negate(c.slot, func(i int) bool { return values[i] >= 0 && values[i]>>minus&1 != 0 })
		c.doubts = append(c.doubts, fmt.Sprintf("Bit %d of the status is taken for the minus sign, since it is set with weights that came without it too, and never with zero.", minus))
	}
	t.fields[slot] = fmt.Sprintf("{bits:%d|%s}", width, strings.Join(parts, "|"))
}

// withBit returns in which rows a bit is set.
func withBit(values []int, bit int) []bool {
	set := make([]bool, len(values))
	for i, v := range values {
		set[i] = v >= 0 && v>>bit&1 != 0
	}
	return set
}

// sharesOf returns which share of the rows with a mark, and of those without it, moved.
func sharesOf(set, moving []bool, over map[int]bool) (with, without float64) {
	n, moved := [2]float64{}, [2]float64{}
	for i, is := range set {
		if over[i] {
			continue
		}
		k := map[bool]int{true: 1}[is]
		n[k]++
		if moving[i] {
			moved[k]++
		}
	}
	return moved[1] / max(n[1], 1), moved[0] / max(n[0], 1)
}

// tellsMinus reports whether a mark may be a minus: it never comes with zero, and some weights at rest come
// both with it and without it.
func (t *template) tellsMinus(slot int, set, moving []bool) bool {
	list := t.byRow(slot)
	without, rests := map[float64]bool{}, false
	for i, is := range set {
		if !is {
			without[list[i]] = true
		}
	}
	zero, both := false, false
	for i, is := range set {
		zero = zero || !is && list[i] == 0
		if !is || t.over[i] {
			continue
		}
		if list[i] == 0 {
			return false
		}
		rests = rests || !moving[i]
		both = both || without[list[i]]
	}
	return zero && rests && both
}

// byRow is the sizes of the numbers of a slot, by row; NaN where a row has none.
func (t *template) byRow(slot int) []float64 {
	list := make([]float64, len(t.rows))
	for i, r := range t.rows {
		list[i] = math.NaN()
		if at := t.slots[slot].at[i]; at >= 0 {
			list[i] = r.tokens[at].value()
		}
	}
	return list
}

// negate gives a minus to the numbers of some rows.
func (t *template) negate(slot int, is func(i int) bool) {
	for i, r := range t.rows {
		if at := t.slots[slot].at[i]; at >= 0 && is(i) {
			r.tokens[at].negative = true
		}
	}
}

// tellsOver reports whether a mark says that the weight is out of range: it comes in few lines, all with the same
// number, and the lines before and after them have weights far from that. A word may come with any number, such as that of
// the fault; another mark comes with zero or nines.
func (t *template) tellsOver(slot int, set []bool, word bool) bool {
	list, order := t.byRow(slot), t.order()
	all := spread(list)
	same, n, far := math.NaN(), 0, false
	for k, i := range order {
		if !set[i] {
			continue
		}
		if n++; n > 1 && list[i] != same || k == 0 || k == len(order)-1 || math.IsNaN(list[i]) {
			return false
		}
		same = list[i]
		if same != 0 && !word && !allNines(t.rows[i].tokens[t.slots[slot].at[i]]) {
			return false
		}
		if before := order[k-1]; !set[before] && (k < 2 || math.Abs(list[before]-list[order[k-2]]) < all/50) {
			return false // it was at rest, and the scale was tared
		}
		for _, j := range []int{order[k-1], order[k+1]} {
			if set[j] {
				continue
			}
			away := math.Abs(list[j] - same)
			if away < all/50 {
				return false // such as a mark for zero
			}
			far = far || away > all/5
		}
	}
	return far && n > 1 && n < 4*mostOver && 10*n <= len(t.rows)
}

// overTexts returns which texts of a slot say that the weight is out of range, and marks their rows.
func (t *template) overTexts(slot int, texts []string) map[string]bool {
	var of map[string]bool
	if t.weightSlot == slot || len(texts) < 2 || len(texts) > 2*mostMarks {
		return nil
	}
	for _, text := range texts {
		set := make([]bool, len(t.rows))
		for i, r := range t.rows {
			at := t.slots[slot].at[i]
			set[i] = at >= 0 && r.tokens[at].text == text || at < 0 && text == ""
		}
		if t.tellsOver(t.weightSlot, set, len(text) >= 3 && isLetter(text[0])) {
			if of == nil {
				of = map[string]bool{}
			}
			of[text] = true
			t.markOver(set)
		}
	}
	return of
}

// mostOver bounds how many lines a scale that was overloaded once may send in that time.
const mostOver = 5

func (t *template) markOver(set []bool) {
	for i, is := range set {
		if is {
			t.over[i] = true
		}
	}
}
