package scale

import (
	"sync/atomic"

	"potlifed/model/weigh"
)

// Counts holds the numbers of lines since the start, by result.
type Counts struct {
	// OK: decoded and passed on, including lines out of range and those of the print key.
	OK uint64
	// Torn: a part was missing. One at each opening of the link is normal.
	Torn uint64
	// Unknown: not of the shape, or in another unit than g, kg, oz or lb.
	Unknown uint64
	// Overlong: longer than MaxLineBytes.
	Overlong uint64
	// Overload: those of the OK lines that are over or under range.
	Overload uint64
	// Learning: decoded while Auto had not found a shape yet, and not passed on.
	Learning uint64
}

// How many lines Auto and the learning of the width need. At the usual ten lines a second each
// takes a second or less.
const (
	linesToSettle   = 5  // one shape, with its unit, in a row
	linesToDoubt    = 20 // unknown in a row, after which Auto starts again
	linesToFixWidth = 8  // of one length, with a padded number among them
	linesToFreeIt   = 10 // of one other length in a row
)

// Decoder turns bytes into readings: framing, shape, and what can only be found over several
// lines. It must not be used concurrently, except for Counts and ShapeName.
//
// With the shape Auto no reading is passed on until several lines in a row fit one shape and
// state their unit. Lines that never carry a unit never determine a shape, since the unit would
// be a guess. After a long run of unknown lines, as when somebody changed the settings of the
// scale, it starts again.
//
// Where a scale pads its numbers, its lines with marks of one length have one length. A line of another length has lost a
// byte, perhaps a digit, and counts as torn. When lines of another length go on for long, the
// length was not fixed, and the check ends until Restart. On a scale that does not pad, a lost
// digit cannot be seen in one line; the caller needs two readings that agree.
type Decoder struct {
	framer Framer
	shape  Shape // as configured
	key    Shape // of the print key's line; the zero value matches none

	settled  Shape // the shape in use
	hidden   hidden
	ready    bool
	learning int // index of the candidate seen last, when not ready
	agreeing int // lines in a row that fit it
	unknown  int // unknown lines in a row, when ready

	hid hidState // of a scale that sends reports

	widths [2][widthKinds]width // of lines with and without a unit, by the length of their marks

	name                                            atomic.Pointer[string]
	ok, torn, unknowns, overlong, overload, learned atomic.Uint64
}

// widthKinds bounds the kinds of lines whose lengths are known. A mark that is longer than another one, or
// that only moving weights have, makes another kind. A mark that may be the rest of another one after a
// lost byte, such as S of ST, makes none.
const widthKinds = 64

// width is what is known of the length of one kind of line.
type width struct {
	length, count int  // the present length and how many lines had it
	padded        bool // a number among them was padded
	other, strays int  // another length, and how often it came in a row
	free          bool // shown not to be fixed
}

// NewDecoder returns a decoder for a shape.
func NewDecoder(shape Shape) *Decoder {
	d := &Decoder{shape: shape}
	d.framer.tail = shape.check.tail()
	d.reset()
	return d
}

// withKey returns the decoder after it was given the shape of the line of the scale's print key.
func (d *Decoder) withKey(key Shape) *Decoder {
	d.key = key
	return d
}

func (d *Decoder) reset() {
	d.settled, d.ready = d.shape, d.shape.candidates == nil
	d.agreeing, d.unknown = 0, 0
	d.widths = [2][widthKinds]width{}
	d.hidden = hidden{}
	d.setName(d.settled.name)
}

func (d *Decoder) setName(name string) { d.name.Store(&name) }

// shapeName returns the name of the shape in use; with Auto it is "auto" until a shape is found.
// It may be called concurrently.
func (d *Decoder) shapeName() string { return *d.name.Load() }

// counts returns the numbers of lines so far. It may be called concurrently.
func (d *Decoder) counts() Counts {
	return Counts{
		OK: d.ok.Load(), Torn: d.torn.Load(), Unknown: d.unknowns.Load(),
		Overlong: d.overlong.Load(), Overload: d.overload.Load(), Learning: d.learned.Load(),
	}
}

// restart must be called when the stream begins again, perhaps with another scale: the present
// line and what was learned are dropped. The counts are kept.
func (d *Decoder) restart() {
	d.framer.Restart()
	d.reset()
}

// interrupt must be called when bytes may be missing: a line that has begun is dropped, and what
// was learned is kept.
func (d *Decoder) interrupt() { d.framer.Interrupt() }

// Feed takes bytes and calls each for every line that they complete, with a reading or with an
// error. The error is or wraps ErrUnknown, ErrTorn, ErrOverlong, ErrLearning or ErrKey. The
// slice is valid during the call only.
func (d *Decoder) Feed(p []byte, each func(line []byte, r weigh.Reading, err error)) {
	d.framer.Feed(p, func(line []byte, err error) {
		var r weigh.Reading
		if err == nil {
			r, err = d.decode(line)
		}
		d.count(r, err)
		each(line, r, err)
	})
}

func (d *Decoder) count(r weigh.Reading, err error) {
	switch err {
	case nil, ErrKey:
		d.ok.Add(1)
		if r.Over || r.Under {
			d.overload.Add(1)
		}
	case ErrTorn, ErrWidth, ErrCheck:
		d.torn.Add(1)
	case ErrOverlong:
		d.overlong.Add(1)
	case ErrLearning:
		d.learned.Add(1)
	default:
		d.unknowns.Add(1)
	}
}

func (d *Decoder) decode(line []byte) (weigh.Reading, error) {
	if _, err := d.key.match(d.withoutTail(line)); err == nil {
		return weigh.Reading{}, ErrKey
	}
	if !d.ready {
		return d.learn(line)
	}
	m, err := d.settled.match(line)
	if err != nil {
		d.unknown++
		if d.unknown >= linesToDoubt && d.shape.candidates != nil {
			d.reset()
		}
		return weigh.Reading{}, err
	}
	d.unknown = 0
	return d.accept(line, &m)
}

// withoutTail returns a line without its ETX and what follows it.
func (d *Decoder) withoutTail(line []byte) []byte {
	if end := len(line) - d.framer.tail - 1; d.framer.tail > 0 && end >= 0 && line[end] == endOfText {
		return line[:end]
	}
	return line
}

// accept checks the width of a line that matched, and stores its unit.
func (d *Decoder) accept(line []byte, m *match) (weigh.Reading, error) {
	if !m.over && !m.under {
		unitless := 0
		if m.unitless {
			unitless = 1
		}
		if !d.widths[unitless][m.variable%widthKinds].fits(len(line), m.padded) {
			return weigh.Reading{}, ErrWidth
		}
		switch {
		case m.unit != noUnit:
			d.hidden.states(m)
		case m.unitless && m.hasNumber:
			m.assumed = d.hidden.assumed(m)
		}
	}
	return m.reading(), nil
}

// learn takes a line while Auto has not found a shape.
func (d *Decoder) learn(line []byte) (weigh.Reading, error) {
	i, m, err := d.shape.choose(line)
	if err != nil {
		d.agreeing = 0
		return weigh.Reading{}, err
	}
	if m.over || m.under {
		return weigh.Reading{}, ErrLearning // fits several shapes
	}
	if i != d.learning {
		d.learning, d.agreeing = i, 0
	}
	// A line without a unit is no evidence for the shape or against it.
	if m.unit == noUnit {
		if d.agreeing == 0 && m.unitless {
			return weigh.Reading{}, ErrNoUnit
		}
		return weigh.Reading{}, ErrLearning
	}
	d.agreeing++
	if d.agreeing < linesToSettle {
		return weigh.Reading{}, ErrLearning
	}
	d.settled, d.ready = d.shape.candidates[i], true
	d.setName(d.settled.name)
	return d.accept(line, &m)
}

// fits reports whether the length of a line agrees with those before it, and learns from it.
func (w *width) fits(length int, padded bool) bool {
	switch {
	case w.free:
	case length == w.length:
		w.count++
		w.padded = w.padded || padded
		w.strays = 0
	case w.count < linesToFixWidth || !w.padded:
		*w = width{length: length, count: 1, padded: padded}
	default:
		if length != w.other {
			w.other, w.strays = length, 0
		}
		w.strays++
		w.free = w.strays >= linesToFreeIt
		return w.free
	}
	return true
}
