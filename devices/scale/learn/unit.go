package learn

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// unitWords are how units of mass are written, in small letters.
var unitWords = map[string]string{
	"g": "g", "gr": "g", "grm": "g", "gm": "g", "gram": "g", "grams": "g", "gramm": "g",
	"mg": "mg", "ct": "ct", "kg": "kg", "kgs": "kg", "kilogram": "kg", "kilograms": "kg",
	"oz": "oz", "ounce": "oz", "ounces": "oz", "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb",
}

// isUnit reports whether a word is a unit. A capital G alone may be the mark of a gross weight, and
// gM is a unit with a mark behind it.
func isUnit(text string) bool {
	lower := strings.ToLower(text)
	oneCase := text == lower || text == strings.ToUpper(text) || text[1:] == lower[1:] || lower == "kg"
	return text != "G" && oneCase && unitWords[lower] != ""
}

// otherUnits are words, in small letters, that stand in the place of a unit of mass for a while. Lines with them carry
// no weight that potlifed reads.
var otherUnits = map[string]bool{
	"pcs": true, "pc": true, "pce": true, "stk": true, "stck": true, "pieces": true, "ozt": true, "dwt": true,
	"gn": true, "tl": true, "mom": true, "pct": true,
}

// units reports whether the texts of a slot are units, most of them of mass.
func (s *slot) units() bool {
	mass, all := 0, 0
	for text, n := range s.counts {
		switch {
		case isUnit(text):
			mass += n
		case !otherUnits[strings.ToLower(text)]:
			return false
		}
		all += n
	}
	return 2*mass > all
}

// assumeUnit supposes a unit where the lines state none.
func (t *template) assumeUnit(c *chosen, hint Hint) {
	c.fixed = "g"
	high, resting := highs(t.series(c.slot))
	if hint.ShownG > 0 {
		if t.shown(c, high, hint.ShownG) || t.shown(c, resting, hint.ShownG) {
			return
		}
		c.doubts = append(c.doubts, unsureMark+fmt.Sprintf("The largest number was %s, which is %s g in no unit.", plain(high), plain(hint.ShownG)))
		return
	}
	if t.decimals(c.slot) >= 3 && high < 3 && high > 0 {
		c.fixed = "kg"
	}
	c.doubts = append(c.doubts, unsureMark+fmt.Sprintf("The lines state no unit; {unit=%s} is a guess. With the most on it, the display must have shown %s %s. If it showed something else, say what with --shown-g.", c.fixed, plain(high), c.fixed))
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// fewestCounts is how many counts of its last digit a weight has that is recognised. A number
// of fewer, such as a status, may be what was shown by chance.
const fewestCounts = 15

// shown finds the unit and the decimal mark with which the largest number is what the display
// showed.
func (t *template) shown(c *chosen, high, grams float64) bool {
	for _, parts := range []int{1, 10, 100, 1000} {
		if parts > 1 && t.decimals(c.slot) > 0 {
			break
		}
		for _, unit := range []string{"g", "kg", "oz", "lb", "ct"} {
			count := gramsIn[unit] / float64(parts) / math.Pow10(t.decimals(c.slot))
			if count > grams/fewestCounts {
				continue
			}
			if is := high * gramsIn[unit] / float64(parts); math.Abs(is-grams) <= math.Max(grams/100, 1.5*count) && is > 0 {
				c.fixed, c.parts = unit, parts
				return true
			}
		}
	}
	return false
}

// highs returns the largest number of a series and the largest that came three times in a row, since
// the pan swings when something is put on it. Both are at least 0.
func highs(list []float64) (high, resting float64) {
	for i, v := range list {
		if v > high {
			high = v
		}
		if v > resting && i > 1 && v == list[i-1] && v == list[i-2] {
			resting = v
		}
	}
	return high, resting
}

// wasShown reports whether the most that a number went to is what the display showed.
func (t *template) wasShown(c chosen, grams float64) bool {
	t.findUnit(&c, Hint{})
	if c.unit < 0 {
		high, resting := highs(t.series(c.slot))
		return t.shown(&c, high, grams) || t.shown(&c, resting, grams)
	}
	return t.partsShown(c, grams) > 0
}

// partsShown returns by how much the most that a number with a unit went to must be divided to be what the display showed: 1, or where it
// has no decimal mark also 10, 100 or 1000; 0 where nothing fits.
func (t *template) partsShown(c chosen, grams float64) int {
	high, resting := highs(t.series(c.slot))
	in := gramsIn[c.fixed]
	if in == 0 {
		in = gramsIn[t.onlyUnit(c.unit)]
	}
	for _, parts := range []int{1, 10, 100, 1000} {
		count := in / float64(parts) / math.Pow10(t.decimals(c.slot))
		off := math.Min(math.Abs(high*in/float64(parts)-grams), math.Abs(resting*in/float64(parts)-grams))
		if in == 0 || off <= math.Max(grams/100, 1.5*count) && count <= grams/fewestCounts {
			return parts
		}
		if t.decimals(c.slot) > 0 || c.letter != "" && t.slots[c.unit].missing() > 0 {
			break
		}
	}
	return 0
}

// What a number without a decimal mark has at most where it counts whole units: a bench scale weighs no more.
var mostWhole = map[string]float64{"mg": 1e7, "g": 50000, "kg": 5000, "oz": 5000, "lb": 10000, "ct": 250000}

// placeTold reports whether a number without a decimal mark may have one all the same, of which a digit tells the place or nothing does.
func (t *template) placeTold(c chosen) bool {
	high, _ := highs(t.series(c.slot))
	if t.decimals(c.slot) > 0 || t.writing.exponent {
		return false
	}
	if unit := t.onlyUnit(c.unit); unit != "" && high > mostWhole[unit] {
		return true
	}
	widths := map[int]bool{}
	for i, r := range t.rows {
		if at := t.slots[c.slot].at[i]; at >= 0 {
			widths[len(r.tokens[at].text)] = true
		}
	}
	if high < 1000 && (len(widths) > 1 || widths[1] || widths[2] || widths[3] || widths[4]) {
		return false
	}
	for j, s := range t.slots {
		if j == c.slot || s.kind != number || s.missing() > 0 || t.texts(j) > 1 || t.dated(j) {
			continue
		}
		if strings.Contains(" 1 2 3 4 10 100 1000 ", " "+t.rows[0].tokens[s.at[0]].text+" ") {
			return true
		}
	}
	return false
}

// onlyUnit returns the unit of a slot of units; empty where there are several.
func (t *template) onlyUnit(slot int) string {
	only := ""
	for text := range t.slots[slot].counts {
		unit := unitWords[strings.ToLower(text)]
		if only != "" && unit != only {
			return ""
		}
		only = unit
	}
	return only
}

// unitBeside reports whether a unit stands beside slot i, with one mark between at most.
func (t *template) unitBeside(i, step int) bool {
	for j, n := i+step, 0; j >= 0 && j < len(t.slots) && n < 2; j, n = j+step, n+1 {
		switch s := t.slots[j]; {
		case step > 0 && t.unitAt(j) && (s.units() || !t.labels(j)), step < 0 && s.units():
			return step > 0 || (j == 0 || t.slots[j-1].kind != number) && (j < 2 || t.slots[j-2].kind != number || t.slots[j-1].kind != punct)
		case s.kind != punct, s.counts["%"] > 0:
			return false
		}
	}
	return false
}

func (t *template) unitAt(i int) bool {
	s := t.slots[i]
	return s.units() || s.kind == word && len(s.counts) == 1 && s.counts["G"] > 0 && s.missing() == 0
}

// findUnit finds the unit of the chosen number: after it, else before it, else none.
func (t *template) findUnit(c *chosen, hint Hint) {
	c.unit = -1
	look := []int{}
	for j := c.slot + 1; j < len(t.slots) && t.slots[j].kind != number; j++ {
		look = append(look, j)
	}
	for j := c.slot - 1; j >= 0 && t.slots[j].kind != number; j-- {
		if j == 0 || t.slots[j-1].kind != number {
			look = append(look, j) // else it is that number's
		}
	}
	for _, j := range look {
		if t.slots[j].units() {
			c.unit = j
			break
		}
	}
	if c.unit < 0 {
		c.unit = t.loneUnit(c.slot)
	}
	if c.unit < 0 && len(look) > 0 && c.slot+1 < len(t.slots) && t.unitAt(c.slot+1) && !t.labels(c.slot+1) {
		c.unit, c.letter, c.fixed = c.slot+1, "G", "g"
		c.doubts = append(c.doubts, "The letter G after the weight is taken for grams.")
		return
	}
	if c.unit < 0 {
		t.assumeUnit(c, hint)
		return
	}
	written := map[string]bool{}
	for text := range t.slots[c.unit].counts {
		if !isUnit(text) {
			continue
		}
		written[text] = true
		if !readable(text) {
			c.letter = text
		}
	}
	if c.letter != "" {
		c.fixed = unitWords[strings.ToLower(c.letter)]
		if t.slots[c.unit].missing() > 0 && len(t.slots[c.unit].counts) > 1 {
			c.doubts = append(c.doubts, unsureMark+"Some lines state no unit, and others another one.")
		}
		if len(written) > 1 {
			c.doubts = append(c.doubts, unsureMark+"The unit is written in ways of which potlifed reads one: "+c.letter+".")
		}
	}
}

// labels reports whether a letter stands before another number without a unit, as in N 1.2 G 3.4.
func (t *template) labels(slot int) bool {
	return slot+1 < len(t.slots) && t.slots[slot+1].kind == number
}

// loneUnit returns the slot of the only unit in the lines, where it belongs to no other number or to one that is written
// like the given one, as in N 1.2 T 3.4 g; -1 for none.
func (t *template) loneUnit(given int) int {
	found := -1
	for j, s := range t.slots {
		if !s.units() {
			continue
		}
		if found >= 0 || j > 0 && t.slots[j-1].kind == number && t.decimals(j-1) != t.decimals(given) || s.missing() > 0 {
			return -1
		}
		found = j
	}
	return found
}
