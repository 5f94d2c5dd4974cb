package learn

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

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
