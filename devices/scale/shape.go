package scale

import (
	"fmt"
	"sort"
	"strings"
)

// Auto is the name of the shape that is found by reading lines; see [Decoder].
const Auto = "auto"

// Shape describes how the lines of a scale are built. The zero value decodes nothing; use
// ParseShape. A Shape is immutable and may be shared.
type Shape struct {
	name     string
	elements []element
	// candidates are tried in place of elements by the shape Auto.
	candidates []Shape
	// assumed is the unit of lines in which the pattern lets the unit be missing.
	assumed unit
	check   checksum
}

// named are the shapes with a name, as patterns. They are named after their form. The marks are
// those of common continuous formats; the sample lines in the tests show each. A line fits at
// most one of the shapes that Auto may choose, because each requires a mark where another has
// none.
var named = []struct {
	name, pattern string
	auto          bool
}{
	// ST,GS,+00060.0  g
	{"status-first", "{stable=ST|stable=S|moving=US|moving=D|over=OL|under=UL}, {net=NT,|net=N,|gross=GS,|gross=G,|}{sign}{weight} {unit}", true},
	// S S      60.0 g: the first letter is the same on each line
	{"letters-first", "S {stable=S|moving=D|over=+|under=-} {sign}{weight} {unit}", true},
	// N     +    60.0 g
	{"tare-first", "{net=NET|net=NT|net=N|gross=GROSS|gross=GS|gross=G} {sign}{weight} {unit?}", true},
	//    60.0 g S
	{"stability-last", "{sign}{weight} {unit} {stable=ST|stable=S|moving=US|moving=D|moving=M|moving=?} {net=NT|net=N|gross=GS|gross=G|}", true},
	//    60.0 g N
	{"tare-last", "{sign}{weight} {unit} {net=NET|net=NT|net=N|gross=GROSS|gross=GS|gross=G}", true},
	//    60.0 g
	{"weight-unit", "{sign}{weight} {unit?}", true},
	// +0060.00: without a unit, in grams; never chosen by Auto, which would
	// have to guess the unit
	{"sign-digits", "{sign!}{weight}{unit=g}", false},
}

// ShapeNames returns the names that ParseShape accepts, auto first.
func ShapeNames() []string {
	names := []string{Auto}
	for _, n := range named {
		names = append(names, n.name)
	}
	return names
}

// ParseShape gives the shape of a name, or of a pattern. In a pattern a
// character stands for itself, a space for any number of spaces or none, and
// braces for a field:
//
//	{weight}            digits with at most one decimal point or comma
//	{weight:8}          the same, padded with spaces to exactly 8 characters
//	{sign} {sign!}      + or - or neither; with ! one of them must be there;
//	                    right before a padded weight it is one character
//	{unit} {unit?}      g, kg, oz or lb; with ? a missing unit means a moving
//	                    weight, in the unit of the line before
//	{unit=g} {unit=kg}  not in the line, but known to be this; also oz and lb
//	{skip:5} {skip}     five characters of any kind; any characters but spaces
//	{check=xor}         a checksum at the end of the line, see below
//	{stable=ST|moving=US|over=OL|under=UL|net=NT|gross=GS}
//	                    the marks that can stand here and what each means;
//	                    "stable=" is the mark that is nothing, and an empty
//	                    alternative allows nothing and means nothing
//
// A pattern needs exactly one weight and exactly one unit, for a weight in a
// guessed unit is worse than none. Spaces at the end of a line are allowed.
//
// A checksum is xor (all characters before it joined by exclusive or), sum
// (their sum) or negated-sum (what makes the sum zero), in eight bits, written
// as two hexadecimal digits. Options follow after commas, as in
// {check=xor,after-etx,byte}: after-etx where it follows the ETX, with byte for
// one byte in place of the digits and etx where the ETX is covered; stx where
// the STX is covered; without-first and without-last where the first character
// of the line or the one before the checksum is not.
func ParseShape(name string) (Shape, error) {
	if name == Auto {
		s := Shape{name: Auto}
		for _, n := range named {
			if n.auto {
				c, err := compile(n.name, n.pattern)
				if err != nil {
					return Shape{}, err
				}
				s.candidates = append(s.candidates, c)
			}
		}
		return s, nil
	}
	for _, n := range named {
		if n.name == name {
			return compile(n.name, n.pattern)
		}
	}
	if !strings.Contains(name, "{") {
		return Shape{}, fmt.Errorf("line shape %q: want one of %s, or a pattern such as {sign}{weight} {unit}", name, strings.Join(ShapeNames(), ", "))
	}
	s, err := compile("pattern", name)
	if err != nil {
		return Shape{}, fmt.Errorf("line shape %q: %w", name, err)
	}
	return s, nil
}

// match matches a line against the shape, or against the one candidate that fits.
func (s Shape) match(line []byte) (match, error) {
	line, err := s.check.strip(line)
	if err != nil {
		return match{}, err
	}
	for _, c := range line {
		if c < ' ' || c > '~' {
			return match{}, ErrUnknown
		}
	}
	if s.candidates == nil {
		return s.matchOne(line)
	}
	_, m, err := s.choose(line)
	return m, err
}

func (s *Shape) matchOne(line []byte) (match, error) {
	if len(s.elements) == 0 {
		return match{}, ErrUnknown
	}
	m := match{line: line, assumed: s.assumed}
	err := m.run(s.elements)
	return m, err
}

// choose returns the candidate that the line fits.
func (s *Shape) choose(line []byte) (index int, m match, err error) {
	err = ErrUnknown
	for i := range s.candidates {
		m, e := s.candidates[i].matchOne(line)
		if e == nil {
			return i, m, nil
		}
		if e == ErrUnit {
			err = ErrUnit
		}
	}
	return -1, match{}, err
}

type elementKind uint8

const (
	literalElement elementKind = iota
	spaceElement
	signElement
	weightElement
	unitElement
	markElement
	skipElement
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
)

var fieldNames = map[string]field{
	"stable": stableField, "moving": movingField, "net": netField,
	"gross": grossField, "over": overField, "under": underField,
}

// element is one part of a pattern.
type element struct {
	kind     elementKind
	literal  byte
	required bool // a sign that must be there
	oneChar  bool // a sign before a padded weight: one character, whichever it is
	optional bool // a unit that may be missing
	width    int  // of the weight or of what is skipped, 0 where it is free
	declared unit // the unit that is not in the line
	glued    bool // the unit is followed by a mark without a space between
	marks    []mark
	check    checksum
}

type mark struct {
	text  string
	means field
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
				return fmt.Errorf("{check} stands before another part, want it at the end")
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
	for i := 0; i < len(pattern); {
		c := pattern[i]
		switch {
		case c < ' ' || c > '~':
			return Shape{}, fmt.Errorf("character %d is not printable ASCII", i+1)
		case c == ' ':
			for i < len(pattern) && pattern[i] == ' ' {
				i++
			}
			s.elements = append(s.elements, element{kind: spaceElement})
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
		case signElement:
			signs++
			if weights > 0 {
				return Shape{}, fmt.Errorf("{sign} stands after {weight}, want it before")
			}
			e.oneChar = i+1 < len(s.elements) && s.elements[i+1].width > 0
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
		return Shape{}, fmt.Errorf("%d times {unit}, want it once: {unit} where the line carries it, {unit=g}, {unit=kg}, {unit=oz} or {unit=lb} where it does not", units)
	}
	return s, nil
}

func parseField(text string) (element, error) {
	switch text {
	case "weight":
		return element{kind: weightElement}, nil
	case "sign":
		return element{kind: signElement}, nil
	case "sign!":
		return element{kind: signElement, required: true}, nil
	case "unit":
		return element{kind: unitElement}, nil
	case "skip":
		return element{kind: skipElement}, nil
	case "unit?":
		return element{kind: unitElement, optional: true}, nil
	}
	if declared, ok := unitNames[strings.TrimPrefix(text, "unit=")]; ok && strings.HasPrefix(text, "unit=") {
		return element{kind: unitElement, declared: declared}, nil
	}
	if width, ok := strings.CutPrefix(text, "weight:"); ok {
		n, err := parseWidth(width)
		return element{kind: weightElement, width: n}, err
	}
	if width, ok := strings.CutPrefix(text, "skip:"); ok {
		n, err := parseWidth(width)
		return element{kind: skipElement, width: n}, err
	}
	if form, ok := strings.CutPrefix(text, "check="); ok {
		check, err := parseChecksum(form)
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
			return element{}, fmt.Errorf("%q: want weight, sign, unit, skip, check, or a mark such as stable=ST, of stable, moving, net, gross, over, under", alternative)
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
	// The longest is first, so that NT is not read as N, and an empty alternative is last.
	sort.SliceStable(e.marks, func(i, j int) bool { return len(e.marks[i].text) > len(e.marks[j].text) })
	return e, nil
}
