package scale

import (
	"context"
	"errors"
	"fmt"
	"os"

	"potlifed/devices/link"
	"potlifed/model/weigh"
)

// Config describes where a scale is and what its lines look like.
type Config struct {
	Link link.Settings
	// Line is auto, the name of a shape or a pattern, see [ParseShape]; empty means auto. A scale on
	// hidraw sends no lines, and Line is not used.
	Line string
	// Key is the line that the print key sends, see [ParseKey]; empty for none.
	Key string
}

// Check returns nil when the configuration is right. Otherwise the error names everything that
// is wrong.
func (c Config) Check() error {
	_, err := c.shape()
	_, keyErr := c.key()
	return errors.Join(c.Link.Check(), err, keyErr)
}

func (c Config) key() (Shape, error) {
	if c.Key == "" {
		return Shape{}, nil
	}
	return ParseKey(c.Key)
}

func (c Config) shape() (Shape, error) {
	if c.Line == "" {
		return ParseShape(Auto)
	}
	return ParseShape(c.Line)
}

// Sink receives what a scale sends. Run calls its functions from its goroutine, one at a time.
// They should return at once; any of them may be nil.
type Sink struct {
	// Reading gets every decoded line. Its time is zero: the receiver has the clock.
	Reading func(weigh.Reading)
	// Key gets each line of the print key.
	Key func()
	// Link gets each change of the link's state.
	Link func(link.Change)
	// Rejected gets each line that could not be decoded, and why. The slice is valid during the
	// call only.
	Rejected func(line []byte, err error)
}

// Scale is one scale. Counts and ShapeName may be called while Run
// runs.
type Scale struct {
	settings link.Settings
	decoder  *Decoder
}

// New returns a scale with the given configuration. The error is that of [Config.Check]. It
// opens nothing.
func New(c Config) (*Scale, error) {
	if err := c.Check(); err != nil {
		return nil, fmt.Errorf("scale at %q: %w", c.Link.Port, err)
	}
	shape, err := c.shape()
	if err != nil {
		return nil, err
	}
	key, err := c.key()
	if err != nil {
		return nil, err
	}
	s := &Scale{settings: c.Link, decoder: NewDecoder(shape).withKey(key)}
	if link.IsHID(c.Link.Port) {
		s.decoder.setName(hidName)
	}
	return s, nil
}

// begin prepares for what comes after the link was opened.
func (s *Scale) begin() {
	s.decoder.restart()
	if !link.IsHID(s.settings.Port) {
		return
	}
	s.decoder.setName(hidName)
	device, err := link.FindHID(s.settings.Port, s.settings.Root)
	if err != nil { // it has just gone again
		device = link.HIDDevice{}
	}
	s.decoder.hid.describe(device.Descriptor)
}

// feed takes what was read.
func (s *Scale) feed(p []byte, each func(line []byte, r weigh.Reading, err error)) {
	if link.IsHID(s.settings.Port) {
		s.decoder.feedReport(p, each)
		return
	}
	s.decoder.Feed(p, each)
}

// Counts returns the numbers of lines since New.
func (s *Scale) Counts() Counts { return s.decoder.counts() }

// ShapeName returns the name of the shape in use, auto while it is being learned.
func (s *Scale) ShapeName() string { return s.decoder.shapeName() }

// Run reads the scale until the context ends and then returns nil. A scale that is absent, busy,
// lost or silent is reported and is not an error. Run must not be called again while it runs.
func (s *Scale) Run(ctx context.Context, sink Sink) error {
	good := false
	each := func(line []byte, r weigh.Reading, err error) {
		switch {
		case err == ErrKey: // the scale sends, and there is no weight
			good = true
			if sink.Key != nil {
				sink.Key()
			}
		case err != nil && sink.Rejected != nil:
			sink.Rejected(line, err)
		case err == nil:
			good = true
			if sink.Reading != nil {
				sink.Reading(r)
			}
		}
	}
	return link.Run(ctx, s.settings, link.Handler{
		Bytes: func(p []byte) bool {
			good = false
			s.feed(p, each)
			return good
		},
		Idle: func() bool {
			r, due, rests := s.decoder.hid.repeats()
			if due && sink.Reading != nil {
				sink.Reading(r)
			}
			return rests
		},
		Change: func(c link.Change) {
			switch c.Kind {
			case link.Connected:
				s.begin()
			case link.Silent:
				s.decoder.interrupt()
			}
			if sink.Link != nil {
				sink.Link(c)
			}
		},
	})
}

// Watch opens a scale once and calls each for every line until the link is lost or the context
// ends; the end of the context is not an error. It returns the numbers of lines and the name of
// the shape then in use. Commands use it to read a scale for a moment.
func Watch(ctx context.Context, c Config, each func(line []byte, r weigh.Reading, err error)) (counts Counts, shape string, err error) {
	s, err := New(c)
	if err != nil {
		return Counts{}, "", err
	}
	stream, err := link.Open(ctx, c.Link)
	if err != nil {
		return Counts{}, s.ShapeName(), err
	}
	defer func() { err = errors.Join(err, stream.Close()) }()
	s.begin()
	asking, stop := context.WithCancel(ctx)
	asker := link.Ask(asking, c.Link, stream)
	defer asker.Wait()
	defer stop()
	buf := make([]byte, 512)
	for ctx.Err() == nil {
		n, err := stream.Read(buf)
		if n > 0 {
			asker.Answered()
			s.feed(buf[:n], each)
		}
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return s.Counts(), s.ShapeName(), err
		}
	}
	return s.Counts(), s.ShapeName(), nil
}
