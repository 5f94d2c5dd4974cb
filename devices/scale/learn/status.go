package learn

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
)

var part = regexp.MustCompile(`[0-9A-Za-z]+(\.[0-9]+)?`)

// withStatus marks where lines have a status of two or four hexadecimal digits, or of noughts and ones: the same part of each line.
func withStatus(lines []text, behindComma bool) []text {
	joins := ":/-.,"
	if behindComma {
		joins = ":/-."
	}
	for k := range 6 {
		columns, texts := make([]int, len(lines)), []string{}
		for i, l := range lines {
			found := part.FindAllStringIndex(l.body, k+1)
			if len(found) <= k {
				continue
			}
			at, text := found[k], l.body[found[k][0]:found[k][1]]
			if (len(texts) == 0 || len(text) == len(texts[0])) && isHex(text) && !joined(l.body, at[0]-1, joins) && !joined(l.body, at[1], joins) {
				columns[i], texts = at[0]+1, append(texts, text)
			}
		}
		if len(texts) < fewestLines || 20*len(texts) < 19*len(lines) || !isStatus(texts, behindComma) || !besides(lines, columns, len(texts[0])) {
			continue
		}
		list := make([]text, len(lines))
		for i, l := range lines {
			list[i] = l
			list[i].status, list[i].width, list[i].flags = columns[i], len(texts[0]), strings.Trim(strings.Join(texts, ""), "01") == ""
		}
		return list
	}
	return lines
}

// joined reports whether a character joins the parts of a time, a date or a number.
func joined(line string, i int, marks string) bool {
	return i >= 0 && i < len(line) && strings.IndexByte(marks, line[i]) >= 0 && (i+1 < len(line) && isDigit(line[i+1]) || line[i] == ':')
}

// isStatus reports whether texts, in the order of the lines, are a status: of one width, of few kinds that come again, and with a letter
// among the digits, or a letter in place of all. Digits alone are a status where they go up and down, and two of them
// where they begin with a nought or a comma joins them to a number.
func isStatus(texts []string, behindComma bool) bool {
	width, kinds, switches, downs, letters, all := len(texts[0]), map[string]bool{}, 0, 0, false, strings.Join(texts, "")
	for i, text := range texts {
		kinds[text] = true
		letters = letters || strings.ContainsAny(text, "0123456789") && strings.ContainsAny(text, "ABCDEFabcdef")
		if i > 0 && text != texts[i-1] {
			switches++
			if text < texts[i-1] {
				downs++
			}
		}
	}
	flags := strings.Trim(all, "01") == "" && width <= 8
	switch {
	case len(kinds) < 2 || all != strings.ToUpper(all) && all != strings.ToLower(all) || width < 2:
		return false
	case letters:
		return width == 2 || width == 4 && len(kinds) <= mostKinds
	}
	return (width == 2 && (texts[0][0] == '0' || behindComma) || width == 4 || flags) && !strings.ContainsAny(all, "ABCDEFabcdef") && len(kinds) <= mostKinds && downs > 0 && 2*switches < len(texts)
}

// besides reports whether the lines have a number besides the part of this width at these columns, from 1 on.
func besides(lines []text, columns []int, width int) bool {
	different := map[string]bool{}
	for i, l := range lines {
		if at := columns[i] - 1; at >= 0 {
			different[strings.Join(numberish.FindAllString(l.body[:at]+" "+l.body[at+width:], -1), " ")] = true
		}
	}
	return len(different) > 2
}

// mostKinds is how many values a status of digits has at most in what was seen. More are a number.
const mostKinds = 8

// fewestLetters is how many letters a status of one character has that is read bit by bit. Two or three are
// marks.
const fewestLetters = 4

// bitsOf returns how many characters the status in a slot has, 0 where it is none, and its value in each row,
// -1 where the row has none.
func (t *template) bitsOf(slot int) (width int, values []int) {
	s := t.slots[slot]
	if 20*s.missing() > len(t.rows) {
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
		if len(text) != width || width != 1 && (s.kind == number || width != 2 && width != 4 || !isHex(text)) {
			return 0, nil
		}
		value := int(text[0])
		if width > 1 {
			_, _ = fmt.Sscanf(text, "%x", &value)
		}
		values = append(values, value)
	}
	if few := len(s.counts); width == 1 && few < fewestLetters && (s.kind != number || few < fewestLetters-1) {
		return 0, nil
	}
	return width, values
}

// readBits finds out what the bits of a status mean, and writes its field.
func (t *template) readBits(slot int, c *chosen, moving []bool) {
	width, values := t.bitsOf(slot)
	if width == 0 || width == 1 && t.told == slot+1 {
		return
	}
	var parts []string
	minus, stability, best := -1, "", 0.0
	var left []int // bits that are not known yet
	for bit := range map[bool]int{true: 16, false: 8}[width == 4] {
		set := withBit(values, bit)
		switch {
		case !slices.Contains(set, true) || !slices.Contains(set, false):
		case t.tellsOver(c.slot, set, false) || t.lostWeight(c.slot, set):
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
	if t.told > 0 && t.told != slot+1 {
		stability = ""
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

// lowWeight is the share of the largest weight up to which a weight below zero is small: the pan is empty, and its zero has moved.
const lowWeight = 0.2

// sameAgain is by how much of itself a weight may differ that comes again with the other sign, as that of a cup that was tared.
const sameAgain = 0.01

// tellsMinus reports whether a mark may be a minus: it never comes with zero, and some weights at rest come
// both with it and without it, or it comes with nothing but small weights after larger ones.
func (t *template) tellsMinus(slot int, set, moving []bool) bool {
	is, _ := t.minusOrSmall(slot, set, moving)
	return is
}

// minusOrSmall is tellsMinus; small reports whether the mark comes with nothing but small weights.
func (t *template) minusOrSmall(slot int, set, moving []bool) (is, small bool) {
	list := t.byRow(slot)
	var without []float64 // those that come without it
	most := 0.0
	for i, is := range set {
		if most = max(most, list[i]); !is && list[i] > 0 {
			without = append(without, list[i])
		}
	}
	digit := math.Pow10(-t.decimals(slot))
	seen := func(v float64) bool {
		off := digit * map[bool]float64{true: 1.01, false: 0.01}[v > 2*largestDivision*digit]
		return slices.ContainsFunc(without, func(w float64) bool { return math.Abs(v-w) <= sameAgain*v+off })
	}
	zero, both, low, n := false, false, true, 0
	last, began := math.NaN(), false
	for _, i := range t.order() {
		is := set[i]
		zero = zero || !is && list[i] == 0
		if is && !t.over[i] {
			if list[i] == 0 {
				return false, false
			}
			n++
			both = both || !moving[i] && seen(list[i])
			low = low && list[i] <= lowWeight*most && (began || last > list[i] || list[i] <= lowWeight*most/4)
		}
		if began = is; !t.over[i] {
			last = list[i]
		}
	}
	is = zero && n > 0 && (both || low)
	return is, is && low
}

// lostWeight reports whether a mark comes in few lines, with nothing but zero, and between weights that are none: no weight could be told.
func (t *template) lostWeight(slot int, set []bool) bool {
	list, order, n, zeros := t.byRow(slot), t.order(), 0, 0
	for k, i := range order {
		if !set[i] {
			if list[i] == 0 {
				zeros++
			}
			continue
		}
		if n++; list[i] != 0 || k == 0 || k == len(order)-1 || n > mostOver {
			return false
		}
		for _, j := range []int{order[k-1], order[k+1]} {
			if !set[j] && list[j] == 0 {
				return false
			}
		}
	}
	return n > 0 && zeros > n
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
