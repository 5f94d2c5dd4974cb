package learn

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// counted reports whether all texts of a slot are units of something that is not weighed.
func (s *slot) counted() bool {
	for text := range s.counts {
		if !otherUnits[strings.ToLower(text)] {
			return false
		}
	}
	return len(s.counts) > 0
}

// otherVaries reports whether another number than that of a slot changes, and does not only count up.
func (t *template) otherVaries(slot int) bool {
	for i, s := range t.slots {
		if i == slot || s.kind != number || t.dated(i) {
			continue
		}
		if varies, counts := changes(t.series(i)); varies && !counts {
			return true
		}
	}
	return false
}

// net finds gross, tare and net beside each other: one number is the sum of two others in each line, and the tare
// changes less often than the net. It returns the slot of the net; ok is false where the given slot is none of the three.
func (t *template) net(given int) (slot int, ok bool) {
	var numbers []int
	for i, s := range t.slots {
		if s.kind == number && 10*s.missing() <= len(t.rows) && !t.dated(i) {
			numbers = append(numbers, i)
		}
	}
	if len(numbers) > 8 {
		return 0, false
	}
	for _, gross := range numbers {
		for k, a := range numbers {
			for _, b := range numbers[k+1:] {
				if a == gross || b == gross || given != gross && given != a && given != b || !t.sum(gross, a, b) {
					continue
				}
				tare, net := a, b
				if steps(t.series(a)) > steps(t.series(b)) {
					tare, net = b, a
				}
				if n := steps(t.series(tare)); n > 0 && 2*n < steps(t.series(net)) {
					return net, true
				}
			}
		}
	}
	return 0, false
}

// sum reports whether a number is the sum of two others in nearly all lines, each rounded to its last digit.
func (t *template) sum(gross, a, b int) bool {
	x, y, z := t.series(gross), t.series(a), t.series(b)
	off := 1.1 * math.Pow10(-min(t.decimals(gross), t.decimals(a), t.decimals(b)))
	wrong := 0
	for i := range x {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) || math.IsNaN(z[i]) {
			continue // out of range
		}
		if !(math.Abs(x[i]-y[i]-z[i]) <= off) {
			wrong++
		}
	}
	return 20*wrong <= len(x) && spread(x) > 20*off
}

// steps counts how often a series changes.
func steps(list []float64) (n int) {
	last := math.NaN()
	for _, v := range list {
		if math.IsNaN(v) {
			continue
		}
		if !math.IsNaN(last) && v != last {
			n++
		}
		last = v
	}
	return n
}

// findPounds finds whole pounds before ounces, and makes the number of the ounces that of the whole weight.
func (t *template) findPounds(c *chosen) {
	lb, a := c.slot-1, c.slot-2
	if a < 0 || t.slots[a].kind != number || !t.unitOnly(lb, "lb") || c.unit != c.slot+1 || !t.unitOnly(c.unit, "oz") || t.pounds > 0 ||
		t.slots[a].missing() > 0 || t.signed(c.slot) || t.decimals(a) > 0 {
		return
	}
	for i, r := range t.rows {
		if at := t.slots[c.slot].at[i]; at >= 0 {
			p, oz := r.tokens[t.slots[a].at[i]], &r.tokens[at]
			oz.plain = strconv.FormatFloat(oz.value()+16*p.value(), 'f', t.decimals(c.slot), 64)
			oz.negative = p.negative
		}
	}
	t.pounds = a + 1
	t.fields[a] = "{sign}{pounds}"
	c.doubts = slices.DeleteFunc(c.doubts, func(d string) bool { return d == twoNumbers }) // they are one weight
}

// unitOnly reports whether the texts of a slot are all this unit.
func (t *template) unitOnly(slot int, unit string) bool {
	return t.slots[slot].units() && t.slots[slot].missing() == 0 && t.onlyUnit(slot) == unit
}

func abs(n int) int { return max(n, -n) }

// sameWeight reports whether two numbers are one weight, as in two units or with more digits.
func (t *template) sameWeight(a, b int) bool {
	x, y := t.series(a), t.series(b)
	ratio := spread(y) / spread(x)
	if math.IsNaN(ratio) || math.IsInf(ratio, 0) || ratio == 0 {
		return false
	}
	// Each is rounded to its last digit.
	off := 0.51*math.Pow10(-t.decimals(b)) + 0.51*ratio*math.Pow10(-t.decimals(a)) + 0.01*spread(y)
	near := 0
	for i := range x {
		if math.IsNaN(x[i]) != math.IsNaN(y[i]) || math.Abs(y[i]-ratio*x[i]) > off {
			return false
		}
		if x[i] != 0 && y[i] != 0 {
			near++
		}
	}
	return near > 0
}

// finer reports whether a number is the same weight as another one with a smaller last digit.
func (t *template) finer(a, b int) bool {
	if !t.sameWeight(a, b) {
		return false
	}
	digit := math.Pow10(-t.decimals(a)) / spread(t.series(a))
	return digit < 0.99*math.Pow10(-t.decimals(b))/spread(t.series(b))
}
