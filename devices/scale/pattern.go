package scale

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

type elementKind uint8

const (
	literalElement elementKind = iota
	spaceElement
	signElement
	weightElement
	unitElement
	markElement
	skipElement
	padElement
	bitsElement
	poundsElement
	checkElement
)

type field uint8

const (
	nothingField field = iota
	stableField
	movingField
	netField
	grossField
	overField
	underField
	minusField
	plusField
)

var fieldNames = map[string]field{
	"stable": stableField, "moving": movingField, "net": netField,
	"gross": grossField, "over": overField, "under": underField, "any": nothingField, "minus": minusField, "plus": plusField,
}

// element is one part of a pattern.
type element struct {
	kind     elementKind
	literal  byte      // the character, the one at which a skipped part of any width ends, or the one that pads
	required bool      // a sign that must be there
	trailing bool      // a sign that follows the weight without a space
	oneChar  bool      // a sign before a padded weight: one character, whichever it is
	optional bool      // a unit that may be missing
	width    int       // of the weight or of what is skipped, 0 where it is free
	shift    int       // how many digits of the weight are decimals without a mark
	decimals int       // how many the weight must have, 0 where any number may stand
	groups   byte      // what may stand between the thousands of the weight, 0 for nothing
	bracket  bool      // the last digit may stand in square brackets
	ends     byte      // the character that follows the weight in the pattern, a comma or a point; else 0
	exponent bool      // a power of ten follows, as in 1.25E+02
	backward bool      // the digits come from the last to the first
	bits     [16]field // what a bit that is set means, of a status
	declared unit      // the unit that is not in the line
	glued    bool      // the unit is followed by a mark without a space between
	marks    []mark
	check    Checksum
}

type mark struct {
	text  string
	means field
	// whole is the length of the mark that this may be the rest of, after one byte was lost; else
	// its own.
	whole int
}

const (
	maxPatternBytes = 256
	maxWeightWidth  = 24
)

func compile(name, pattern string) (Shape, error) {
	s, err := parse(name, pattern)
	if err != nil {
		return Shape{}, err
	}
	if err := s.liftChecksum(); err != nil {
		return Shape{}, err
	}
	return s.finish()
}

// liftChecksum takes a checksum out of the elements: it is checked before the line is matched.
func (s *Shape) liftChecksum() error {
	for i, e := range s.elements {
		if e.kind != checkElement {
			continue
		}
		for _, after := range s.elements[i+1:] {
			if after.kind != spaceElement {
				return errors.New("{check} stands before another part, want it at the end")
			}
		}
		s.check, s.elements = e.check, s.elements[:i]
	}
	return nil
}

// parse reads a pattern without checking it as a whole.
func parse(name, pattern string) (Shape, error) {
	if len(pattern) > maxPatternBytes {
		return Shape{}, fmt.Errorf("longer than %d bytes", maxPatternBytes)
	}
	s := Shape{name: name}
	pattern, err := unescaped(pattern)
	if err != nil {
		return Shape{}, err
	}
	for i := 0; i < len(pattern); {
		c := pattern[i]
		switch {
		case c == ' ':
			for i < len(pattern) && pattern[i] == ' ' {
				i++
			}
			s.elements = append(s.elements, element{kind: spaceElement})
		case (c == '{' || c == '}') && i+1 < len(pattern) && pattern[i+1] == c:
			s.elements = append(s.elements, element{kind: literalElement, literal: c})
			i += 2
		case c == '{':
			end := strings.IndexByte(pattern[i:], '}')
			if end < 0 {
				return Shape{}, fmt.Errorf("the brace at character %d is not closed", i+1)
			}
			e, err := parseField(pattern[i+1 : i+end])
			if err != nil {
				return Shape{}, fmt.Errorf("field at character %d: %w", i+1, err)
			}
			s.elements = append(s.elements, e)
			i += end + 1
		case c == '}':
			return Shape{}, fmt.Errorf("the brace at character %d was not opened", i+1)
		default:
			s.elements = append(s.elements, element{kind: literalElement, literal: c})
			i++
		}
	}
	s.allow(pattern)
	return s, nil
}

// finish checks the pattern as a whole.
func (s Shape) finish() (Shape, error) {
	weights, units, signs := 0, 0, 0
	for i := range s.elements {
		e := &s.elements[i]
		switch e.kind {
		case weightElement:
			weights++
			if next := s.after(i); next == ',' || next == '.' {
				e.ends = next
			}
		case signElement:
			signs++
			e.trailing = weights > 0
			e.oneChar = i+1 < len(s.elements) && s.elements[i+1].width > 0
		case skipElement:
			if i+1 < len(s.elements) && s.elements[i+1].kind == literalElement {
				e.literal = s.elements[i+1].literal
			}
		case unitElement:
			units++
			e.glued = i+1 < len(s.elements) && s.elements[i+1].kind == markElement
			s.assumed = max(s.assumed, e.declared)
		}
	}
	switch {
	case weights != 1:
		return Shape{}, fmt.Errorf("%d times {weight}, want it once", weights)
	case signs > 1:
		return Shape{}, fmt.Errorf("%d times {sign}, want it once at most", signs)
	case units != 1:
		return Shape{}, fmt.Errorf("%d times {unit}, want it once: {unit} where the line carries it, {unit=g}, {unit=kg}, {unit=mg}, {unit=oz}, {unit=lb} or {unit=ct} where it does not", units)
	}
	return s, nil
}

// after returns the character that follows element i, where it is the same in each line; else 0.
func (s Shape) after(i int) byte {
	for _, e := range s.elements[i+1:] {
		switch {
		case e.kind == literalElement:
			return e.literal
		case e.kind != unitElement || e.declared == noUnit:
			return 0
		}
	}
	return 0
}

func parseField(text string) (element, error) {
	if strings.HasPrefix(text, "weight") {
		return parseWeight(text[len("weight"):])
	}
	switch text {
	case "sign":
		return element{kind: signElement}, nil
	case "sign!":
		return element{kind: signElement, required: true}, nil
	case "unit":
		return element{kind: unitElement}, nil
	case "skip":
		return element{kind: skipElement}, nil
	case "pounds":
		return element{kind: poundsElement}, nil
	case "unit?":
		return element{kind: unitElement, optional: true}, nil
	}
	if declared, ok := unitNames[strings.TrimPrefix(text, "unit=")]; ok && strings.HasPrefix(text, "unit=") {
		return element{kind: unitElement, declared: declared}, nil
	}
	if width, ok := strings.CutPrefix(text, "skip:"); ok {
		n, err := parseWidth(width)
		return element{kind: skipElement, width: n}, err
	}
	if pad, ok := strings.CutPrefix(text, "pad="); ok {
		if len(pad) != 1 || pad[0] >= '0' && pad[0] <= '9' || strings.Contains("+-,", pad) {
			return element{}, fmt.Errorf("pad %q: want one character that is no part of a number", pad)
		}
		return element{kind: padElement, literal: pad[0]}, nil
	}
	if bits, ok := strings.CutPrefix(text, "bits:"); ok {
		return parseBits(bits)
	}
	if form, ok := strings.CutPrefix(text, "check="); ok {
		check, err := ParseChecksum(form)
		return element{kind: checkElement, check: check}, err
	}
	return parseMarks(text)
}

func parseWidth(width string) (int, error) {
	n := 0
	for _, c := range width {
		if c < '0' || c > '9' || n > maxWeightWidth {
			n = 0
			break
		}
		n = 10*n + int(c-'0')
	}
	if n < 1 || n > maxWeightWidth {
		return 0, fmt.Errorf("width %q: want a number from 1 to %d", width, maxWeightWidth)
	}
	return n, nil
}

func parseMarks(text string) (element, error) {
	e := element{kind: markElement}
	for alternative := range strings.SplitSeq(text, "|") {
		if alternative == "" {
			e.marks = append(e.marks, mark{})
			continue
		}
		name, written, ok := strings.Cut(alternative, "=")
		means, known := fieldNames[name]
		if !ok || !known {
			return element{}, fmt.Errorf("%q: want weight, sign, unit, skip, pad, bits, check, or a mark such as stable=ST, of stable, moving, net, gross, over, under, minus, plus, any", alternative)
		}
		e.marks = append(e.marks, mark{text: written, means: means})
	}
	for i, m := range e.marks {
		for _, other := range e.marks[:i] {
			if m.text == other.text {
				return element{}, fmt.Errorf("the mark %q stands twice", m.text)
			}
		}
	}
	for i := range e.marks {
		m := &e.marks[i]
		m.whole = len(m.text)
		for _, other := range e.marks {
			if m.text != "" && lacksOne(m.text, other.text) {
				m.whole = len(other.text)
			}
		}
	}
	// The longest is first, so that NT is not read as N, and an empty alternative is last.
	sort.SliceStable(e.marks, func(i, j int) bool { return len(e.marks[i].text) > len(e.marks[j].text) })
	return e, nil
}

// lacksOne reports whether a text is another one without one of its bytes.
func lacksOne(text, whole string) bool {
	for i := range len(whole) {
		if whole[:i]+whole[i+1:] == text {
			return true
		}
	}
	return false
}
