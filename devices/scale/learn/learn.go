// Package learn finds out how the lines of an unknown scale are built: lines in, a configuration
// out, with how sure it is and why.
//
// The package is pure: it opens no port and waits for nobody. [Split] cuts what was received
// into lines, [FrameOf] tells a parity bit from a data bit, and [Infer] proposes the shape or the
// pattern. Infer looks for what a person would look for: the number that changes when a
// cup is put on, the unit beside it, and words that come and go with the movement. A pattern is
// proposed only after it was tried on the lines themselves.
package learn

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"potlifed/devices/scale"
	"potlifed/model/weigh"
)

// Certainty is how sure a proposal is.
type Certainty int

const (
	// Unsure: a person must compare the weights with the display before they use it.
	Unsure Certainty = iota
	// Fair: nothing speaks against it, and something could not be seen.
	Fair
	// Sure: everything that can be seen in lines was seen.
	Sure
)

// String returns the certainty in plain words.
func (c Certainty) String() string { return [...]string{"unsure", "fairly sure", "sure"}[c] }

// Proposal is what Infer found.
type Proposal struct {
	// Line is the name of a shape or a pattern, see [scale.ParseShape]; empty when nothing
	// was found that decodes the lines.
	Line      string
	Certainty Certainty
	// Reasons say what the certainty rests on and what is in doubt, as sentences.
	Reasons []string
	// Lines is how many lines could carry a weight, Decoded how many of them Line decodes.
	Lines, Decoded int
	// LowG and HighG are the smallest and the largest weight among them, in g.
	LowG, HighG float64
	record      bool // each weight has several lines, of which one is read
}

// Lines that show enough.
const (
	fewestLines = 5
	enoughLines = 20
	// enoughDecoded is the share of lines that must be decoded. The rest may be noise.
	enoughDecoded = 0.9
	// mostLines bounds the work: about a minute of ten lines a second. Of more lines, the first
	// and the last are used.
	mostLines = 600
)

// Hint is what a person has told. The zero value is nothing.
type Hint struct {
	// ShownG is what the display showed with the most on the pan, in g. It settles the unit of a
	// scale that sends bare numbers, and where their decimal mark would be.
	ShownG float64
}

// Infer proposes the shape of the lines, which are given as Split returns them, oldest first.
func Infer(lines [][]byte, hint Hint) Proposal {
	if len(lines) > mostLines {
		lines = shortened(lines)
	}
	if len(lines) > 2*mostLines {
		lines = append(lines[:mostLines:mostLines], lines[len(lines)-mostLines:]...)
	}
	kept := printable(lines)
	if len(kept) < fewestLines {
		return Proposal{Reasons: []string{fmt.Sprintf("Only %d lines of text came; %d are needed. The speed or the frame may be wrong, or the scale sends binary numbers: set it to text (ASCII).", len(kept), fewestLines)}}
	}
	if n := overlong(lines); 20*n > len(lines) {
		return Proposal{Lines: len(lines), Reasons: []string{fmt.Sprintf("%d of %d lines are longer than %d characters, which potlifed does not read. Set the scale to a shorter line.", n, len(lines), scale.MaxLineBytes)}}
	}
	best := infer(kept, hint, false)
	if best.Line == "" || float64(best.Decoded) < enoughDecoded*float64(best.Lines) {
		if early := infer(kept, hint, true); early.Decoded*max(best.Lines, 1) > best.Decoded*max(early.Lines, 1) {
			best = early
		}
	}
	best.doubtRefused(kept)
	return best
}

// infer proposes the shape of lines of text. With early, a mark that some lines have twice and others once is taken for
// the first of the two, since a pattern is matched without going back.
func infer(kept []text, hint Hint, early bool) Proposal {
	check, kept := stripChecksum(kept)
	rows, writing := tokenized(kept)
	rows, silent := withNumbers(rows)
	all := len(rows)
	rows = withoutFragments(rows)
	fragments := all - len(rows)
	rows, record := oneOfARecord(rows)
	rows = withoutErrors(rows)
	rows, nines := withoutNines(rows)
	rows, odd := withoutOdd(rows)
	t := align(rows, early)
	t.silent, t.record, t.writing, t.nines = silent, record != nil, writing, nines
	c, ok := t.weight(hint)
	if ok {
		t.findPounds(&c)
		c = t.forward(c, hint)
		t.readMarks(&c)
	}
	if !ok {
		return Proposal{Lines: len(kept), Reasons: []string{"No number in these lines could be taken for the weight."}}
	}
	var found []candidate
	for _, name := range scale.ShapeNames() {
		if check.pattern == "" && !t.record && len(t.nines) == 0 && len(t.fields) == 0 && name != scale.Auto && name != "sign-digits" {
			found = append(found, candidate{line: name})
		}
	}
	for _, loose := range []bool{false, true} {
		text, notes := t.pattern(c, loose)
		found = append(found, candidate{line: text + check.pattern, notes: notes})
	}
	best := t.ofOneWidth(c, t.best(c, found))
	if best.line == "" {
		return Proposal{Lines: len(t.rows), Reasons: []string{"A number was found that could be the weight, and no pattern that reads it."}}
	}
	best.notes = append(append(best.notes, c.doubts...), record...)
	best.notes = append(best.notes, t.ignoredPart(c)...)
	p := best.proposal(t, check)
	p.record = record != nil
	if c.unit >= 0 && t.slots[c.unit].missing() > 0 {
		p.Reasons = append(p.Reasons, "Some lines state no unit. Their number is taken in the unit of the line before and as moving; where it may be in another unit, there is no weight until a line states its unit.")
	}
	if text := t.maybeSign(c); text != "" {
		p.Certainty = Unsure
		p.Reasons = append(p.Reasons, fmt.Sprintf("The numbers have no sign, and %q never comes with zero: it may mean a weight below zero.", text))
	}
	if odd != "" {
		p.Reasons = append(p.Reasons, odd)
	}
	if fragments > 0 {
		p.Reasons = append(p.Reasons, fmt.Sprintf("%d damaged lines were left out.", fragments))
	}
	return p
}

// shortened leaves out lines that are like many before and after them: a scale at rest.
func shortened(lines [][]byte) [][]byte {
	const alike = 10
	var kept [][]byte
	for i, l := range lines {
		before, after := i >= alike, i+alike < len(lines)
		for k := 1; k <= alike && (before || after); k++ {
			before = before && string(lines[i-k]) == string(l)
			after = after && string(lines[i+k]) == string(l)
		}
		if !before || !after {
			kept = append(kept, l)
		}
	}
	return kept
}

// Decode returns the reading of a line as Split returns it. The error is that of [scale.Shape.Decode].
func (p Proposal) Decode(line []byte) (weigh.Reading, error) {
	shape, err := scale.ParseShape(p.Line)
	if err != nil {
		return weigh.Reading{}, err
	}
	if end := strings.IndexByte(string(line), etx); end >= 0 && !strings.Contains(p.Line, "after-etx") {
		line = line[:end]
	}
	return shape.Decode(line)
}

// candidate is a shape with what trying it gave.
type candidate struct {
	line    string
	notes   []string // what is in doubt
	decoded int
	moving  int
	stable  int
	g       []float64 // the weights of the lines that were decoded
}

// best returns the candidate that decodes most lines to the number that was chosen; of equals the
// first, so that the name of a shape wins over a pattern.
func (t *template) best(chosen chosen, found []candidate) candidate {
	var best candidate
	for _, c := range found {
		shape, err := scale.ParseShape(c.line)
		if err != nil {
			continue
		}
		afterETX := strings.Contains(c.line, "after-etx")
		for i, r := range t.rows {
			got, err := shape.Decode(r.text.framed(afterETX))
			if err != nil || !t.agrees(chosen, i, got) {
				continue
			}
			c.decoded++
			switch got.Stability {
			case weigh.Moving:
				c.moving++
			case weigh.Stable:
				c.stable++
			}
			if got.HasWeight {
				c.g = append(c.g, got.Grams)
			}
		}
		if c.decoded > best.decoded {
			best = c
		}
	}
	return best
}

// agrees reports whether a reading is the chosen number of a row. A reading without a weight agrees
// where the row has no unit: such lines are read in the unit of the line before.
func (t *template) agrees(c chosen, i int, got weigh.Reading) bool {
	r, at := t.rows[i], t.slots[c.slot].at[i]
	if at < 0 || got.Over || got.Under {
		return at < 0 || t.over[i]
	}
	if !got.HasWeight {
		return c.unit >= 0 && t.slots[c.unit].at[i] < 0
	}
	in := c.fixed
	if c.unit >= 0 && c.letter == "" {
		if t.slots[c.unit].at[i] < 0 {
			return false
		}
		in = unitWords[strings.ToLower(r.tokens[t.slots[c.unit].at[i]].text)]
	}
	want := r.tokens[at].value()
	if r.tokens[at].negative {
		want = -want
	}
	want *= gramsIn[in] / float64(max(c.parts, 1))
	return math.Abs(got.Grams-want) <= 1e-6*math.Abs(want)
}

var gramsIn = map[string]float64{"mg": 0.001, "g": 1, "kg": 1000, "oz": 28.349523125, "lb": 453.59237, "ct": 0.2}

// proposal weighs up what was seen.
func (c candidate) proposal(t *template, check check) Proposal {
	p := Proposal{Line: c.line, Lines: len(t.rows), Decoded: min(c.decoded, len(t.rows)), Certainty: Sure}
	lower := func(to Certainty, reason string) {
		p.Certainty = min(p.Certainty, to)
		p.Reasons = append(p.Reasons, reason)
	}
	say := func(format string, args ...any) { p.Reasons = append(p.Reasons, fmt.Sprintf(format, args...)) }
	say("%d of %d lines are decoded.", p.Decoded, p.Lines)
	if float64(p.Decoded) < enoughDecoded*float64(p.Lines) {
		lower(Unsure, "Too many lines are not decoded.")
	}
	if p.Lines < enoughLines {
		lower(Fair, fmt.Sprintf("Few lines came; %d are better.", enoughLines))
	}
	if len(c.g) == 0 {
		lower(Unsure, "No line gave a weight.")
	} else {
		p.LowG, p.HighG = c.g[0], c.g[0]
		for _, g := range c.g {
			p.LowG, p.HighG = math.Min(p.LowG, g), math.Max(p.HighG, g)
		}
		if p.LowG == p.HighG {
			lower(Fair, "The weight never changed: put a cup on and take it off while the lines are watched.")
		} else {
			say("The weight went from %s to %s g.", gramsText(p.LowG), gramsText(p.HighG))
		}
	}
	if check.pattern != "" {
		say("%s", check.says)
	}
	if c.moving == 0 && c.stable == 0 && p.LowG != p.HighG {
		say("No mark tells a moving weight from a stable one; potlifed judges by the weight itself.")
	}
	for _, n := range c.notes {
		if reason, ok := strings.CutPrefix(n, unsureMark); ok {
			lower(Unsure, reason)
		} else {
			lower(Fair, n)
		}
	}
	return p
}

// unsureMark begins a doubt that leaves the whole proposal unsure.
const unsureMark = "!"

func gramsText(g float64) string {
	return strconv.FormatFloat(math.Round(g*1000)/1000, 'f', -1, 64)
}

// sortedKeys returns the keys, the most frequent first.
func sortedKeys(counts map[string]int) []string {
	keys := make([]string, 0, len(counts))
	for k := range counts {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool {
		if counts[keys[i]] != counts[keys[j]] {
			return counts[keys[i]] > counts[keys[j]]
		}
		return keys[i] < keys[j]
	})
	return keys
}
