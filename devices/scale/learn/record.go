package learn

import (
	"regexp"
	"slices"
	"strings"
)

// oneOfARecord finds scales that send several lines for each weight, such as gross, tare and net below
// each other. It returns the rows of the line that has the weight, and what is to be said.
func oneOfARecord(rows []row) (kept []row, notes []string) {
	channel := channels(rows)
	key := func(r row) string {
		return r.label() + channel(r) + "\x00" + string(rune('0'+min(r.numbers(), 9)))
	}
	key = alternatives(rows, key)
	counts, same, most := map[string]int{}, 0, 0
	for i, r := range rows {
		counts[key(r)]++
		most = max(most, counts[key(r)])
		if i > 0 && key(rows[i-1]) == key(r) {
			same++
		}
	}
	// The lines of a record take turns, and come equally often.
	frequent := map[string]bool{}
	for k, n := range counts {
		if 2*n >= most && n >= 3 {
			frequent[k] = true
		}
	}
	if len(frequent) < 2 || 3*same > len(rows) {
		return rows, nil
	}
	bestScore, best := -100, ""
	for _, k := range sortedKeys(counts) {
		if !frequent[k] {
			continue
		}
		var of []row
		for _, r := range rows {
			if key(r) == k {
				of = append(of, r)
			}
		}
		t := align(of, false)
		c, ok := t.weight(Hint{})
		if !ok {
			continue
		}
		if c.score > bestScore {
			bestScore, best, kept = c.score, k, of
		}
	}
	if best == "" {
		return rows, nil
	}
	label, _, _ := strings.Cut(best, "\x00")
	if label == "" {
		return kept, []string{"The scale sends several lines for each weight; one of them is read."}
	}
	return kept, []string{"The scale sends several lines for each weight; the one that begins with " + label + " is read."}
}

// alternatives returns keys in which those are one that take turns in the same place of a record: a line that begins
// with a mark begins with another word when the weight moves. Such lines follow the same line and come before the same
// line, and never one after the other, and have much the same outline.
func alternatives(rows []row, key func(row) string) func(row) string {
	type place struct {
		before, after, outlines map[string]bool
	}
	places := map[string]*place{}
	for i, r := range rows {
		p := places[key(r)]
		if p == nil {
			p = &place{map[string]bool{}, map[string]bool{}, map[string]bool{}}
			places[key(r)] = p
		}
		p.outlines[r.outline()] = true
		if i > 0 {
			p.before[key(rows[i-1])] = true
		}
		if i+1 < len(rows) {
			p.after[key(rows[i+1])] = true
		}
	}
	counts := map[string]int{}
	for k := range places {
		counts[k]++
	}
	keys, one := sortedKeys(counts), map[string]string{}
	for i, a := range keys {
		for _, b := range keys[:i] {
			p, q := places[a], places[b]
			if one[b] == "" && meet(p.before, q.before) && meet(p.after, q.after) && alike(p.outlines, q.outlines) && !p.before[b] && !q.before[a] {
				one[a] = b
			}
		}
	}
	return func(r row) string {
		k := key(r)
		if other := one[k]; other != "" {
			return other
		}
		return k
	}
}

// meet reports whether two sets have an element in common.
func meet(a, b map[string]bool) bool {
	for k := range a {
		if b[k] {
			return true
		}
	}
	return false
}

// alike reports whether an outline of each begins and ends alike, for half of its length at least.
func alike(a, b map[string]bool) bool {
	for x := range a {
		for y := range b {
			n, same := min(len(x), len(y)), 0
			for same < n && x[same] == y[same] {
				same++
			}
			for end := 0; same < n && x[len(x)-1-end] == y[len(y)-1-end]; end++ {
				same++
			}
			if 2*same >= max(len(x), len(y)) {
				return true
			}
		}
	}
	return false
}

// outline is the kinds of the tokens of a line.
func (r row) outline() string {
	b := make([]byte, len(r.tokens))
	for i, t := range r.tokens {
		b[i] = byte(t.kind)
	}
	return string(b)
}

// mostOdd is the share of lines of another kind that may be left out.
const mostOdd = 0.25

// withoutOdd leaves out lines of another kind that come now and then, such as a temperature: their first word begins no
// other line, and they have neither a unit of mass nor as many parts as the others. They are not read, so
// they give no wrong weight. said tells of them.
func withoutOdd(rows []row) (kept []row, said string) {
	type group struct{ n, parts, masses int }
	groups := map[string]*group{}
	parts, masses := 0, 0
	for _, r := range rows {
		g := groups[r.label()]
		if g == nil {
			g = &group{}
			groups[r.label()] = g
		}
		g.n++
		g.parts += len(r.tokens)
		parts += len(r.tokens)
		if r.mass() {
			g.masses++
			masses++
		}
	}
	odd := map[string]bool{}
	for label, g := range groups {
		few := float64(g.n) <= mostOdd*float64(len(rows)) && g.n > 1
		shorter := 3*g.parts*len(rows) < 2*parts*g.n
		bare := g.masses == 0 && 4*masses >= 3*(len(rows)-g.n)
		if label != "" && meanings[strings.ToUpper(label)] == "" && few && (shorter || bare) && len(label) > 1 {
			odd[label] = true
		}
	}
	if len(odd) == 0 || len(odd) > 3 {
		return rows, ""
	}
	var labels []string
	for _, r := range rows {
		if !odd[r.label()] {
			kept = append(kept, r)
		} else if !slices.Contains(labels, r.label()) {
			labels = append(labels, r.label())
		}
	}
	if float64(len(kept)) < (1-mostOdd)*float64(len(rows)) {
		return rows, ""
	}
	return kept, "Lines that begin with " + strings.Join(labels, ", ") + " are of another kind and are not read."
}

var errorCode = regexp.MustCompile(`(^|[^A-Za-z0-9])(E|Er|Err|ERR|Error|ERROR)[ -]?[0-9]{1,3}([^0-9.,]|$)`)

// withoutErrors leaves out the few lines that have the code of a fault in the place of a weight.
func withoutErrors(rows []row) []row {
	var kept []row
	for _, r := range rows {
		if !errorCode.MatchString(r.text.body) {
			kept = append(kept, r)
		}
	}
	if 10*len(kept) < 9*len(rows) {
		return rows
	}
	return kept
}

// mass reports whether a line has a unit of mass.
func (r row) mass() bool {
	for _, t := range r.tokens {
		if t.kind == word && (isUnit(t.text) || t.text == "G") {
			return true
		}
	}
	return false
}

// withNumbers parts the rows that have a number from the others, which carry no weight.
func withNumbers(rows []row) (with, without []row) {
	for _, r := range rows {
		if r.numbers() > 0 {
			with = append(with, r)
		} else {
			without = append(without, r)
		}
	}
	return with, without
}

// channels returns a function for the number of the platform that a line is of: its first number, where that is
// one of two to four small whole numbers.
func channels(rows []row) func(row) string {
	seen := map[string]bool{}
	first := func(r row) string {
		if r.numbers() < 2 {
			return ""
		}
		for _, t := range r.tokens {
			if t.kind == number {
				return t.text
			}
		}
		return ""
	}
	for _, r := range rows {
		if text := first(r); text != "" {
			seen[text] = true
		}
	}
	for text := range seen {
		if len(text) > 2 || len(seen) > 4 || len(seen) < 2 {
			return func(row) string { return "" }
		}
	}
	return first
}
