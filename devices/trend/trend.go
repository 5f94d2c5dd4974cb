// Package trend reads instruments that give one number again and again: the torque of a stirrer, or the current of
// a motor that moves ink. The number has no unit here.
//
// Lines and messages are those of package climate, with {value} in a line's pattern.
package trend

import (
	"context"
	"errors"
	"fmt"

	"potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/scale"
)

// LineConfig is an instrument that sends lines, by itself or when it is asked.
type LineConfig struct {
	Link           link.Settings // with the request, if it is asked
	Pattern        string        // see [climate.ParseValuePattern]
	Factor, Offset float64       // number · Factor + Offset is the value
}

// Line is an instrument on a serial port or a TCP connection.
type Line struct {
	config  LineConfig
	pattern climate.ValuePattern
	framer  scale.Framer
}

// NewLine returns an instrument. It opens nothing. The error names all that is wrong.
func NewLine(c LineConfig) (*Line, error) {
	p, err := climate.ParseValuePattern(c.Pattern)
	if err := errors.Join(c.Link.Check(), err); err != nil {
		return nil, err
	}
	return &Line{config: c, pattern: p}, nil
}

// Run reads the instrument until ctx ends and then returns nil. each gets the value of each line, or why it has
// none; change each change of the link. A port that is absent, busy or lost is no error. It calls both from its
// goroutine, and must not run twice at once.
func (l *Line) Run(ctx context.Context, each func(float64, error), change func(link.Change)) error {
	return link.Run(ctx, l.config.Link, link.Handler{
		Bytes: func(p []byte) bool {
			good := false
			l.feed(p, func(x float64, err error) {
				good = good || err == nil
				each(x, err)
			})
			return good
		},
		Change: func(c link.Change) {
			switch c.Kind {
			case link.Connected:
				l.framer.Restart()
			case link.Silent:
				l.framer.Interrupt()
			}
			change(c)
		},
	})
}

// feed decodes the lines that bytes complete. A first line that may have begun earlier is left out: it could have
// lost its first digit.
func (l *Line) feed(p []byte, each func(float64, error)) {
	l.framer.Feed(p, func(line []byte, err error) {
		switch {
		case errors.Is(err, scale.ErrTorn):
		case err != nil:
			each(0, fmt.Errorf("%w: %w", climate.ErrGarbled, err))
		default:
			x, err := l.pattern.Decode(line)
			each(x*l.config.Factor+l.config.Offset, err)
		}
	})
}
