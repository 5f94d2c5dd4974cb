package scale

import (
	"fmt"
	"strings"

	"potlifed/model/weigh"
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
	check   Checksum
	// others are the bytes besides printable ASCII that the pattern has, as 256 bits. A line with another one
	// is damaged.
	others [4]uint64
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
// character stands for itself, a space for any number of spaces and tabs or
// none, {{ and }} for a brace, and braces for a field:
//
//	{weight}            digits with at most one decimal point or comma
//	{weight:8}          the same, padded with spaces to exactly 8 characters
//	{weight/10}         digits without a decimal mark, in tenths; also /100 and
//	                    /1000, and {weight:8/10}
//	{weight.3}          exactly three decimals, and the nought before the mark may
//	                    be missing; also {weight:8.3}
//	{weight'}           with an apostrophe between thousands, as in 12'345; also
//	                    {weight,} and {weight.}, after which the decimal mark is
//	                    the other one, and {weight } with one space
//	{weight[]}          the last digit may stand in square brackets, as in 12.3[4]
//	{weightE}           with a power of ten, as in +1.2340E+02
//	{weight<}           the last digit first, as in 04.21 for 12.4
//	{pad=.}             any number of points, as they may stand before a number;
//	                    also another character
//	{sign} {sign!}      + or - or neither; with ! one of them must be there;
//	                    right before a padded weight it is one character;
//	                    it may also follow the weight
//	{unit} {unit?}      g, kg, oz or lb; with ? a missing unit means a moving
//	                    weight, in the unit of the line before
//	{unit=g} {unit=kg}  not in the line, but known to be this; also mg, oz, lb and
//	                    ct, the metric carat
//	{pounds}            whole pounds before the ounces, as in "{pounds} lb {weight} {unit}"
//	{skip:5}            five characters of any kind
//	{skip}              characters up to a space, or up to the one that
//	                    follows in the pattern
//	{any=Z|}            a mark that means nothing; with others as below
//	{check=xor}         a checksum at the end of the line, see below
//	{stable=ST|moving=US|over=OL|under=UL|net=NT|gross=GS|minus=M|plus=P}
//	                    the marks that can stand here and what each means;
//	                    "stable=" is the mark that is nothing, and an empty
//	                    alternative allows nothing and means nothing
//	{bits:2|moving=0|over=3|minus=4}
//	                    a status of two hexadecimal digits, with bits:4 of four, or
//	                    with bits:1 of one character, and what its bits mean that
//	                    are set, from 0, the lowest, to 7 or 15; with moving alone,
//	                    a clear bit means stable, and the other way round
//
// A byte that is not printable ASCII is written as \\x06, and one of Latin-1 also
// as the letter, such as é.
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

// Decode returns the reading of one line, without what a [Decoder] knows of the lines before it. The
// error is or wraps ErrUnknown or ErrCheck. It is for trying a shape.
func (s Shape) Decode(line []byte) (weigh.Reading, error) {
	m, err := s.match(line)
	if err != nil {
		return weigh.Reading{}, err
	}
	return m.reading(), nil
}

// allow takes the bytes of a pattern that are not printable ASCII for bytes of its lines.
func (s *Shape) allow(pattern string) {
	for _, c := range []byte(pattern) {
		if c < ' ' || c > '~' {
			s.others[c>>6] |= 1 << (c & 63)
		}
	}
}

// match matches a line against the shape, or against the one candidate that fits.
func (s Shape) match(line []byte) (match, error) {
	line, err := s.check.Strip(line)
	if err != nil {
		return match{}, err
	}
	for _, c := range line {
		if (c < ' ' || c > '~') && c != '\t' && s.others[c>>6]>>(c&63)&1 == 0 {
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
