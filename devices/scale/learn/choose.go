package learn

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// chosen is the number that is taken for the weight.
type chosen struct {
	slot   int
	unit   int    // the slot of the unit, -1 where the lines have none
	letter string // how the unit is written, where only a pattern with a fixed unit can read it
	fixed  string // that unit, or the one that is assumed
	parts  int    // by how much the number is divided: 1, 10, 100 or 1000
	score  int
	doubts []string
}

// series is the numbers of a slot in the order of the lines; NaN where a line has none.
func (t *template) series(slot int) []float64 {
	var list []float64
	for _, i := range t.order() {
		at := t.slots[slot].at[i]
		if at < 0 {
			list = append(list, math.NaN())
			continue
		}
		token := t.rows[i].tokens[at]
		v := token.value()
		if token.negative {
			v = -v
		}
		list = append(list, v)
	}
	return list
}

// changes describes a series: whether it has more than one value, and whether it only counts up.
func changes(list []float64) (varies, counts bool) {
	ups, downs, last := 0, 0, math.NaN()
	for _, v := range list {
		switch {
		case v > last:
			ups++
		case v < last:
			downs++
		}
		if !math.IsNaN(v) {
			last = v
		}
	}
	return ups+downs > 0, ups > len(list)/2 && downs*20 <= ups
}

const twoNumbers = unsureMark + "Two numbers of a line could be the weight; the more likely one was taken."

// weight chooses the number that is the weight. ok is false where there is no number.
func (t *template) weight(hint Hint) (chosen, bool) {
	best, second := chosen{score: -1000}, chosen{score: -1000}
	for i, s := range t.slots {
		if s.kind != number || 2*s.missing() > len(t.rows) {
			continue
		}
		c := t.judge(i)
		if hint.ShownG > 0 {
			// The number that the display showed is the weight, whatever else speaks against it.
			c.score += map[bool]int{true: 4, false: -4}[t.wasShown(c, hint.ShownG)]
		}
		switch {
		case best.score > -1000 && abs(c.score-best.score) < 2 && t.rather(i, best.slot):
			best, second = c, best
		case c.score > best.score:
			best, second = c, best
		case c.score > second.score:
			second = c
		}
	}
	if best.score == -1000 {
		return best, false
	}
	if net, ok := t.net(best.slot); ok {
		best, second = t.judge(net), chosen{score: -1000}
	}
	if varies, _ := changes(t.series(best.slot)); !varies && t.otherVaries(best.slot) {
		best.doubts = append(best.doubts, unsureMark+"The number that was taken for the weight never changed, and another one did.")
	}
	if second.score > -1000 && best.score-second.score < 2 && !t.sameWeight(best.slot, second.slot) && (t.texts(best.slot) < 3 || t.texts(second.slot) > 1) {
		best.doubts = append(best.doubts, twoNumbers)
	}
	t.findUnit(&best, hint)
	switch parts := 0; {
	case best.unit < 0:
	case hint.ShownG > 0:
		if parts = t.partsShown(best, hint.ShownG); parts > 0 {
			best.parts = parts
			break
		}
		best.doubts = append(best.doubts, unsureMark+fmt.Sprintf("The display showed %s g, and the lines never did.", plain(hint.ShownG)))
	case t.placeTold(best):
		best.doubts = append(best.doubts, unsureMark+"The numbers have no decimal mark, and its place may be told by a digit of the line or be known to the scale alone. Say with --shown-g what the display showed with the most on it.")
	}
	return best, true
}

// judge gives points to a number for what speaks for a weight.
func (t *template) judge(i int) chosen {
	c := chosen{slot: i}
	list := t.series(i)
	varies, counts := changes(list)
	if varies {
		c.score += 4
	}
	if t.texts(i) == 2 {
		c.score -= 3 // a flag, rather
	}
	if counts {
		c.score -= 7
	}
	first, last := ends(list)
	switch all := spread(list); {
	case t.remainder(i):
		c.score -= 6
	case varies && math.Abs(first-last) > 0.05*all:
	case varies:
		c.score++ // put on and taken off
	}
	if t.neverEmpty(list) {
		c.score -= 3
	}
	if t.decimals(i) > 0 {
		c.score += 2
	}
	if t.texts(i) != 2 && (t.unitBeside(i, 1) || t.unitBeside(i, -1)) {
		c.score += 3
	}
	if t.ofAnotherKind(i) {
		c.score -= 6
	}
	if t.ratedBy(i) {
		c.score -= 6
	}
	if t.brokenNumber(i) {
		c.score -= 8
	}
	for _, beside := range []int{i - 1, i + 1} {
		if beside < 0 || beside >= len(t.slots) || t.slots[beside].kind != punct {
			continue
		}
		for text := range t.slots[beside].counts {
			if strings.Contains(":/-", text) && t.joined(i, beside) {
				c.score -= 6 // a time or a date
			}
			switch {
			case text == "%" && beside > i:
				c.score -= 6
			case text == "%" || text == "#":
				c.score -= 3
			}
		}
	}
	c.score += t.labelScore(i)
	return c
}

// neverEmpty reports whether a number hardly changes in proportion to its size, as a temperature does. A weight comes near zero.
func (t *template) neverEmpty(list []float64) bool {
	all, high := spread(list), math.Inf(-1)
	for _, v := range list {
		if v > high { // not NaN
			high = v
		}
	}
	return all > 0 && all < high/4
}

// remainder reports whether a number is what is left to pour, or how far the weight is from a target: with another one it makes the
// same sum or difference in each line, and of the two it is the one that is larger with nothing on the pan.
func (t *template) remainder(i int) bool {
	if t.slots[i].missing() > 0 || t.labelScore(i) > 0 || t.texts(i) < 3 {
		return false
	}
	list := t.series(i)
	for j, s := range t.slots {
		if j == i || s.kind != number || s.missing() > 0 || t.texts(j) < 3 {
			continue
		}
		other, digit := t.series(j), math.Pow10(-min(t.decimals(i), t.decimals(j)))
		sums, differences := make([]float64, len(list)), make([]float64, len(list))
		for k := range list {
			sums[k], differences[k] = list[k]+other[k], list[k]-other[k]
		}
		if all := min(spread(sums), spread(differences)); all <= 2.1*digit && spread(list) > 10*all && math.Abs(list[0]) > math.Abs(other[0])+10*digit {
			return true
		}
	}
	return false
}

// rather reports whether slot a is read and not slot b, which has the same weight: the one with a unit, since a
// price goes with the weight too, and of two with a unit or two without the one with the smaller last digit.
func (t *template) rather(a, b int) bool {
	if is, other := t.unitBeside(a, 1), t.unitBeside(b, 1); is != other {
		return is && t.sameWeight(a, b)
	}
	return t.finer(a, b)
}

// brokenNumber reports whether another number is joined to this one by a decimal mark, as with a
// mark for thousands. Such a number is not read.
func (t *template) brokenNumber(i int) bool {
	for _, step := range []int{1, -1} {
		j := i + 2*step
		if j < 0 || j >= len(t.slots) || t.slots[j].kind != number {
			continue
		}
		mark, next := t.slots[i+step], max(i, j)
		if (mark.counts["."] > 0 || mark.counts[","] > 0) && !t.slots[next].gap && !mark.gap && t.threeDigits(next) {
			return true
		}
	}
	return false
}

// threeDigits reports whether each number of a slot has three digits before its decimals.
func (t *template) threeDigits(slot int) bool {
	for i, r := range t.rows {
		if at := t.slots[slot].at[i]; at >= 0 {
			whole, _, _ := strings.Cut(r.tokens[at].plain, ".")
			if len(whole) != 3 {
				return false
			}
		}
	}
	return true
}

// joined reports whether the slot on the other side of a mark is a number too, and neither has a sign:
// the numbers of a date and a time have none.
func (t *template) joined(i, beside int) bool {
	j := 2*beside - i
	return j >= 0 && j < len(t.slots) && t.slots[j].kind == number && !t.signed(i) && !t.signed(j)
}

// signed reports whether a number has a sign in any line.
func (t *template) signed(slot int) bool {
	for i, r := range t.rows {
		if at := t.slots[slot].at[i]; at >= 0 && r.tokens[at].signed {
			return true
		}
	}
	return false
}

func ends(list []float64) (first, last float64) {
	first, last = math.NaN(), math.NaN()
	for _, v := range list {
		if math.IsNaN(v) {
			continue
		}
		if math.IsNaN(first) {
			first = v
		}
		last = v
	}
	return first, last
}

func spread(list []float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range list {
		if !math.IsNaN(v) {
			low, high = math.Min(low, v), math.Max(high, v)
		}
	}
	return high - low
}

// texts returns how many different texts a number has, at most 3.
func (t *template) texts(slot int) int {
	seen := map[string]bool{}
	for i, r := range t.rows {
		if at := t.slots[slot].at[i]; at >= 0 && len(seen) < 3 {
			seen[r.tokens[at].text] = true
		}
	}
	return len(seen)
}

// readable reports whether {unit} reads a unit as it is written.
func readable(text string) bool {
	lower := strings.ToLower(text)
	return text == "g" || lower == "kg" || lower == "oz" || lower == "lb"
}

// decimals returns the most decimals that a number has.
func (t *template) decimals(slot int) int {
	most := 0
	for i, r := range t.rows {
		at := t.slots[slot].at[i]
		if at < 0 {
			continue
		}
		most = max(most, r.tokens[at].decimals())
	}
	return most
}

// decimals returns how many decimals a number has, less those that its power of ten takes away.
func (t token) decimals() int {
	digits, power := t.plain, 0
	if at := strings.IndexAny(digits, "eE"); at >= 0 {
		power, _ = strconv.Atoi(digits[at+1:])
		digits = digits[:at]
	}
	_, fraction, _ := strings.Cut(digits, ".")
	return max(len(fraction)-power, 0)
}
