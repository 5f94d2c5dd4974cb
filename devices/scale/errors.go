// Package scale turns the lines a scale sends by itself into readings
// ([weigh.Reading], in grams, with the instant left for the receiver to set).
//
// The pure part is in layers: a Framer cuts bytes into lines, a Shape decodes
// one line, a Decoder joins both with what can only be known across lines (the
// shape itself, the fixed width, the unit of a line that carries none). Scale
// ties a Decoder to a link. Nothing here knows of cups or recipes.
//
// Lines are as continuous printers and weighing indicators send them: printable
// ASCII, one weight a line, ended by CR, LF or both, with STX and ETX around
// it or not. A line is decoded whole or not at all.
package scale

import "errors"

// Errors of decoding, to be tested with errors.Is. They are fixed values, so
// that a stream of bad lines costs no memory.
var (
	// ErrUnknown: the line is not of the shape.
	ErrUnknown = errors.New("not a line of this shape")
	// ErrUnit: of the shape, but in another unit than g or kg. Wraps ErrUnknown.
	ErrUnit error = cause{"the unit is neither g nor kg", ErrUnknown}
	// ErrNoUnit: no shape can be settled on because the line carries no unit.
	// Wraps ErrUnknown.
	ErrNoUnit error = cause{"the line carries no unit: name its shape, such as sign-digits for grams", ErrUnknown}
	// ErrTorn: a part of the line is missing.
	ErrTorn = errors.New("a part of the line is missing")
	// ErrWidth: the line has not the length this scale's lines have. Wraps
	// ErrTorn.
	ErrWidth error = cause{"not as long as the other lines", ErrTorn}
	// ErrOverlong: more bytes than a line may have came without an end of line.
	ErrOverlong = errors.New("the line is too long")
	// ErrLearning: decoded, but the shape is not yet settled; see Decoder.
	ErrLearning = errors.New("still learning the shape of the lines")
)

type cause struct {
	text string
	of   error
}

func (c cause) Error() string { return c.text }
func (c cause) Unwrap() error { return c.of }
