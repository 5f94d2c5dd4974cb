package climate

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"potlifed/devices/link"
	"potlifed/devices/scale"
	"potlifed/model/air"
)

// Pattern is how a line of a sensor is built, in the grammar of the lines of scales.
type Pattern struct{ parts []part }

type partKind uint8

const (
	literalPart partKind = iota
	spacePart
	temperaturePart
	humidityPart
	valuePart
	wordPart
)

type part struct {
	kind    partKind
	literal byte
	width   int // of a number, 0 where it is free
}

// field is a name that may stand in braces.
type field struct {
	name string
	kind partKind
}

// maxPatternBytes is more than any line has.
const maxPatternBytes = 256

// maxWidth is more characters than a number has.
const maxWidth = 24

// ParsePattern reads a pattern. A character stands for itself, a space for any number of spaces or
// none, and braces for a field:
//
//	{temperature} {humidity}      a number in °C or per cent, with at most one decimal point or
//	                              comma, and a sign or none
//	{temperature:6}               the same, padded with spaces to exactly 6 characters
//	{word}                        any characters but spaces, up to the next character of the
//	                              pattern: for what is not used
//
// Both quantities are needed, each once. Spaces at the end of a line are allowed.
func ParsePattern(text string) (Pattern, error) {
	p, err := parsePattern(text, []field{{"temperature", temperaturePart}, {"humidity", humidityPart}, {"word", wordPart}})
	if err == nil && (p.count(temperaturePart) != 1 || p.count(humidityPart) != 1) {
		err = fmt.Errorf("%d times {temperature} and %d times {humidity}, want each once", p.count(temperaturePart), p.count(humidityPart))
	}
	if err != nil {
		return Pattern{}, fmt.Errorf("line pattern %q: %w", text, err)
	}
	return p, nil
}

// ValuePattern is how a line with one number is built.
type ValuePattern struct{ pattern Pattern }

// ParseValuePattern reads a pattern in the same grammar, for an instrument with one quantity: {value} stands for
// the number and is needed once.
func ParseValuePattern(text string) (ValuePattern, error) {
	p, err := parsePattern(text, []field{{"value", valuePart}, {"word", wordPart}})
	if err == nil && p.count(valuePart) != 1 {
		err = fmt.Errorf("%d times {value}, want it once", p.count(valuePart))
	}
	if err != nil {
		return ValuePattern{}, fmt.Errorf("line pattern %q: %w", text, err)
	}
	return ValuePattern{p}, nil
}

// Decode returns the number in a line. The error is ErrGarbled when the line does not fit.
func (p ValuePattern) Decode(line []byte) (float64, error) {
	numbers, err := p.pattern.numbers(line)
	return numbers[valuePart], err
}

func parsePattern(text string, fields []field) (Pattern, error) {
	if len(text) > maxPatternBytes {
		return Pattern{}, fmt.Errorf("longer than %d bytes", maxPatternBytes)
	}
	var p Pattern
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c < ' ' || c > '~':
			return Pattern{}, fmt.Errorf("character %d is not printable ASCII", i+1)
		case c == ' ':
			if n := len(p.parts); n == 0 || p.parts[n-1].kind != spacePart {
				p.parts = append(p.parts, part{kind: spacePart})
			}
		case c == '{':
			name, _, closed := strings.Cut(text[i+1:], "}")
			if !closed {
				return Pattern{}, fmt.Errorf("the brace at character %d is not closed", i+1)
			}
			f, err := parsePart(name, fields)
			if err != nil {
				return Pattern{}, fmt.Errorf("field at character %d: %w", i+1, err)
			}
			p.parts = append(p.parts, f)
			i += len(name) + 1
		case c == '}':
			return Pattern{}, fmt.Errorf("the brace at character %d was not opened", i+1)
		default:
			p.parts = append(p.parts, part{kind: literalPart, literal: c})
		}
	}
	return p, p.check()
}

// count returns how many parts are of a kind.
func (p Pattern) count(kind partKind) (n int) {
	for _, f := range p.parts {
		if f.kind == kind {
			n++
		}
	}
	return n
}

func (p Pattern) check() error {
	var before part
	for i, f := range p.parts {
		if i > 0 && f.kind > spacePart && before.kind > spacePart && before.width == 0 {
			return errors.New("two fields side by side: want a character between them, or a width such as {temperature:6}")
		}
		before = f
	}
	return nil
}

func parsePart(text string, fields []field) (part, error) {
	name, width, wide := strings.Cut(text, ":")
	var f part
	var names []string
	for _, of := range fields {
		if names = append(names, of.name); of.name == name {
			f.kind = of.kind
		}
	}
	if f.kind == literalPart || wide && f.kind == wordPart {
		last := len(names) - 1
		return part{}, fmt.Errorf("%q: want %s or %s", text, strings.Join(names[:last], ", "), names[last])
	}
	if wide {
		n, err := strconv.Atoi(width)
		if err != nil || n < 1 || n > maxWidth || strconv.Itoa(n) != width {
			return part{}, fmt.Errorf("width %q: want a number from 1 to %d", width, maxWidth)
		}
		f.width = n
	}
	return f, nil
}

// errLine is the error of each line that does not fit.
var errLine = fmt.Errorf("%w: the line does not fit the pattern", ErrGarbled)

// decode returns the air in a line. The error is ErrGarbled when the line does not fit, and
// ErrImplausible as everywhere.
func (p Pattern) decode(line []byte) (air.State, error) {
	numbers, err := p.numbers(line)
	if err != nil {
		return air.State{}, err
	}
	return judge(numbers[temperaturePart], numbers[humidityPart])
}

// numbers returns the numbers of a line by the kinds of their parts. The error is ErrGarbled when the line does
// not fit.
func (p Pattern) numbers(line []byte) (numbers [wordPart + 1]float64, err error) {
	rest := line
	for i, f := range p.parts {
		switch f.kind {
		case literalPart:
			if len(rest) == 0 || rest[0] != f.literal {
				return numbers, errLine
			}
			rest = rest[1:]
		case spacePart:
			for len(rest) > 0 && rest[0] == ' ' {
				rest = rest[1:]
			}
		case wordPart:
			end, n := p.behind(i), 0
			for n < len(rest) && rest[n] != end && rest[n] > ' ' && rest[n] <= '~' {
				n++
			}
			rest = rest[n:]
		default:
			x, after, ok := takeNumber(rest, f.width, p.behind(i))
			if !ok {
				return numbers, errLine
			}
			rest, numbers[f.kind] = after, x
		}
	}
	for _, c := range rest {
		if c != ' ' {
			return numbers, errLine
		}
	}
	return numbers, nil
}

// behind returns the character of the pattern behind a part, a space where there is none.
func (p Pattern) behind(i int) byte {
	if i+1 < len(p.parts) && p.parts[i+1].kind == literalPart {
		return p.parts[i+1].literal
	}
	return ' '
}

// takeNumber takes a number from the beginning of a line: of exactly so many characters, spaces
// around it included, or as long as it goes on. A comma that stands behind the number in the
// pattern is not its decimal mark.
func takeNumber(line []byte, width int, behind byte) (x float64, rest []byte, ok bool) {
	n := 0
	if width > 0 {
		n = width
	} else {
		marks := 0
		for n < len(line) {
			c := line[n]
			if (c == '.' || c == ',' && behind != ',') && marks == 0 && n+1 < len(line) && line[n+1] >= '0' && line[n+1] <= '9' {
				marks++
			} else if (c < '0' || c > '9') && (n > 0 || c != '-' && c != '+') {
				break
			}
			n++
		}
	}
	if n == 0 || n > len(line) {
		return 0, nil, false
	}
	text := strings.TrimPrefix(strings.Trim(string(line[:n]), " "), "+")
	x, err := parseNumber([]byte(strings.Replace(text, ",", ".", 1)))
	return x, line[n:], err == nil
}

// LineConfig is a sensor that sends lines, by itself or when it is asked.
type LineConfig struct {
	Link    link.Settings // with the request, if it is asked
	Pattern string        // see ParsePattern
}

// Line is a sensor on a serial port or a TCP connection that sends lines, by itself or when it is asked.
type Line struct {
	settings link.Settings
	pattern  Pattern
	framer   scale.Framer
	raw      string
}

// NewLine returns a sensor. It opens nothing. The error names all that is wrong.
func NewLine(c LineConfig) (*Line, error) {
	p, err := ParsePattern(c.Pattern)
	if err := errors.Join(c.Link.Check(), err); err != nil {
		return nil, err
	}
	return &Line{settings: c.Link, pattern: p}, nil
}

// Name returns "": such a sensor has no name.
func (l *Line) Name() string { return "" }

// Raw returns the last whole line that Read has seen, empty before the first.
func (l *Line) Raw() string { return l.raw }

// Run reads the sensor until ctx ends and then returns nil. each gets the air of each line, or why
// it has none; change each change of the link. A port that is absent, busy or lost is no error.
// It calls both from its goroutine, and must not run twice at once.
func (l *Line) Run(ctx context.Context, each func(air.State, error), change func(link.Change)) error {
	good := false
	return link.Run(ctx, l.settings, link.Handler{
		Bytes: func(p []byte) bool {
			good = false
			l.feed(p, func(_ []byte, s air.State, err error) {
				good = good || err == nil
				each(s, err)
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

// feed decodes the lines that bytes complete. A first line that may have begun earlier is left
// out: it could have lost its first digit.
func (l *Line) feed(p []byte, each func(line []byte, s air.State, err error)) {
	l.framer.Feed(p, func(line []byte, err error) {
		switch {
		case errors.Is(err, scale.ErrTorn):
		case err != nil:
			each(line, air.State{}, fmt.Errorf("%w: %w", ErrGarbled, err))
		default:
			s, err := l.pattern.decode(line)
			each(line, s, err)
		}
	})
}

// triedEvery is the longest wait between requests of Read: the first answer is left out, since it may have
// begun before.
const triedEvery = time.Second

// Read opens the port, asks if that is configured, waits for one line with air and closes the port. It is for a person who
// tries a sensor, not for use beside Run. The error is that of the last line, or of the link, or
// of the context.
func (l *Line) Read(ctx context.Context) (s air.State, err error) {
	stream, err := link.Open(ctx, l.settings)
	if err != nil {
		return air.State{}, err
	}
	defer func() { err = errors.Join(err, stream.Close()) }()
	l.framer.Restart()
	often := l.settings
	often.Every = min(often.Every, triedEvery)
	asking, stop := context.WithCancel(ctx)
	asker := link.Ask(asking, often, stream)
	defer asker.Wait()
	defer stop()
	buf := make([]byte, 512)
	var last error
	for ctx.Err() == nil {
		n, err := stream.Read(buf)
		if n > 0 {
			asker.Answered()
		}
		found := false
		l.feed(buf[:n], func(line []byte, a air.State, err error) {
			l.raw, last = string(line), err
			if err == nil && !found {
				s, found = a, true
			}
		})
		if found {
			return s, nil
		}
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return air.State{}, err
		}
	}
	return air.State{}, errors.Join(last, ctx.Err())
}
