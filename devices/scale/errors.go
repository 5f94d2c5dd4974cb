// Package scale turns the lines that a scale sends by itself into readings ([weigh.Reading], in
// g; the receiver sets the instant).
//
// The pure part has layers: a Framer cuts bytes into lines, a Shape decodes one line, and a
// Decoder joins both with what can only be known over several lines (the shape itself, the fixed
// width, the unit of a line that carries none). Scale connects a Decoder to a link. The package
// does not know cups or recipes.
//
// Lines are as continuous printers and weighing indicators send them: printable ASCII, one
// weight per line, ended by CR, LF or both, with or without STX and ETX around it. A line is
// decoded whole or not at all.
package scale

import "errors"

// Errors of decoding, to be tested with errors.Is. They are fixed values, so that a stream of
// bad lines allocates no memory.
var (
	// ErrUnknown means that the line is not of the shape.
	ErrUnknown = errors.New("not a line of this shape")
	// ErrUnit means that the line is of the shape, but in another unit than g, kg, oz or lb. It
	// wraps ErrUnknown.
	ErrUnit error = cause{"the unit is not g, kg, oz or lb", ErrUnknown}
	// ErrNoUnit means that no shape can be determined because the line carries no unit. It wraps
	// ErrUnknown.
	ErrNoUnit error = cause{"the line carries no unit: name its shape, such as sign-digits for grams", ErrUnknown}
	// ErrTorn means that a part of the line is missing.
	ErrTorn = errors.New("a part of the line is missing")
	// ErrWidth means that the line does not have the length of this scale's lines. It wraps
	// ErrTorn.
	ErrWidth error = cause{"not as long as the other lines", ErrTorn}
	// ErrOverlong means that more bytes came without an end of line than a line may have.
	ErrOverlong = errors.New("the line is too long")
	// ErrLearning means that the line was decoded, but the shape is not determined yet; see
	// [Decoder].
	ErrLearning = errors.New("still learning the shape of the lines")
)

type cause struct {
	text string
	of   error
}

func (c cause) Error() string { return c.text }
func (c cause) Unwrap() error { return c.of }
