package scale

import (
	"errors"
	"fmt"
)

// ErrKey means that the line is the one that the scale sends when its print key is pressed. It
// is not a fault; it takes the place of the nil error of a reading.
var ErrKey = errors.New("the print key")

// ParseKey returns the shape of the line that a scale sends when its print key is pressed: the
// name of a shape, or a pattern as for ParseShape, in which the weight and its unit may be
// missing. The error says what is wrong with the pattern.
//
// The line of the key can only be recognised by its form, so it must differ from the continuous
// lines. A scale whose key sends one more line like the others cannot be used in this way. A
// line that fits the key's shape is the key and not a reading, even where it has a weight: what
// is confirmed is the settled weight of the stream.
func ParseKey(text string) (Shape, error) {
	for _, n := range named {
		if n.name == text {
			return compile(n.name, n.pattern)
		}
	}
	if text == Auto {
		return Shape{}, fmt.Errorf("key line %q: want what the scale sends when its print key is pressed, which cannot be found by watching", text)
	}
	s, err := compileLoosely("key", text)
	if err != nil {
		return Shape{}, fmt.Errorf("key line %q: %w", text, err)
	}
	return s, nil
}

// compileLoosely compiles a pattern that may have no weight.
func compileLoosely(name, pattern string) (Shape, error) {
	s, err := parse(name, pattern)
	if err != nil {
		return Shape{}, err
	}
	if err := s.liftChecksum(); err != nil {
		return Shape{}, err
	}
	if s.check.form != noCheck {
		return Shape{}, errors.New("{check} is not read in the line of a key; use {skip:2} in its place")
	}
	weights, units, signs, says := 0, 0, 0, false
	for i := range s.elements {
		e := &s.elements[i]
		switch e.kind {
		case weightElement:
			weights++
			says = true
		case unitElement:
			units++
			e.glued = i+1 < len(s.elements) && s.elements[i+1].kind == markElement
			s.assumed = max(s.assumed, e.declared)
		case signElement:
			signs++
			e.oneChar = i+1 < len(s.elements) && s.elements[i+1].width > 0
		case literalElement:
			says = true
		case markElement:
			for _, m := range e.marks {
				says = says || m.text != ""
			}
		}
	}
	switch {
	case !says:
		return Shape{}, errors.New("it would fit any line; want at least a character, a mark or {weight}")
	case weights > 1 || units > 1 || signs > 1:
		return Shape{}, errors.New("{sign}, {weight} and {unit} may stand once each")
	}
	return s, nil
}
