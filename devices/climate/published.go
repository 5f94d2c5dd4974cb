package climate

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"potlifed/model/air"
)

// maxPayloadBytes limits the payload of a published reading. A message with a reading has a few
// hundred bytes.
const maxPayloadBytes = 16 << 10

// Pointer is a JSON pointer (RFC 6901). The empty one is the whole document, as for a payload that
// is a plain number.
type Pointer []string

// ParsePointer reads a JSON pointer: "" or / before each name. ~1 stands for / in a name and ~0
// for ~.
func ParsePointer(text string) (Pointer, error) {
	if text == "" {
		return nil, nil
	}
	if text[0] != '/' {
		return nil, fmt.Errorf(`JSON pointer %q: want a / before each name, such as /temperature, or "" for a plain number`, text)
	}
	names := strings.Split(text[1:], "/")
	for i, name := range names {
		for rest := name; ; {
			_, after, found := strings.Cut(rest, "~")
			if !found {
				break
			}
			if after == "" || after[0] != '0' && after[0] != '1' {
				return nil, fmt.Errorf("JSON pointer %q: want 0 or 1 after ~", text)
			}
			rest = after[1:]
		}
		names[i] = strings.ReplaceAll(strings.ReplaceAll(name, "~1", "/"), "~0", "~")
	}
	return names, nil
}

// find returns the value that the pointer names, and whether there is one.
func (p Pointer) find(document any) (any, bool) {
	for _, name := range p {
		switch d := document.(type) {
		case map[string]any:
			value, there := d[name]
			if !there {
				return nil, false
			}
			document = value
		case []any:
			i, err := strconv.Atoi(name)
			if err != nil || i < 0 || i >= len(d) || strconv.Itoa(i) != name {
				return nil, false
			}
			document = d[i]
		default:
			return nil, false
		}
	}
	return document, true
}

// String returns the pointer as in the configuration.
func (p Pointer) String() string {
	var text strings.Builder
	for _, name := range p {
		text.WriteString("/" + strings.ReplaceAll(strings.ReplaceAll(name, "~", "~0"), "/", "~1"))
	}
	return text.String()
}

// PublishedValue is where a quantity is published.
type PublishedValue struct {
	Topic          string
	Pointer        Pointer
	Factor, Offset float64 // number · Factor + Offset is the quantity in °C or per cent
}

// PublishedConfig says where a sensor's values are published.
type PublishedConfig struct {
	Temperature, Humidity PublishedValue
	// Time points at the time of the reading in each message, if HasTime.
	Time    Pointer
	HasTime bool
	// Together is how far apart the messages of both quantities may be.
	Together time.Duration
}

// Topics returns the topics to subscribe to, each once.
func (c PublishedConfig) Topics() []string {
	if c.Temperature.Topic == c.Humidity.Topic {
		return []string{c.Temperature.Topic}
	}
	return []string{c.Temperature.Topic, c.Humidity.Topic}
}

// Message is a message on one of the topics.
type Message struct {
	Topic    string
	Payload  []byte
	Retained bool          // the broker had stored it, at any time before
	At       time.Duration // when it came, on a clock that does not jump
	Wall     time.Time     // when it came, by the wall clock; zero while that is not set
}

// Published makes readings of messages. It is a value without a clock.
type Published struct {
	config      PublishedConfig
	temperature heard
	humidity    heard
}

// heard is the newest value of a quantity.
type heard struct {
	value float64
	at    time.Duration // when it was measured, as far as it is known
	there bool
}

// NewPublished returns readings of no message yet.
func NewPublished(c PublishedConfig) *Published { return &Published{config: c} }

// Errors of messages.
var (
	// ErrRetained means that a message was retained, so that its age is not known.
	ErrRetained = errors.New("the message was retained: how old it is is not known")
	// ErrHalf means that the other quantity has not come, or long ago.
	ErrHalf = errors.New("the other quantity is missing")
)

// Take takes in a message. It returns the air and when it was measured, on the clock of
// [Message].At: the time that the message tells, else when it came; of two messages, the older.
// The error is ErrGarbled, ErrImplausible, ErrNoValue, ErrRetained or ErrHalf.
func (p *Published) Take(m Message) (s air.State, at time.Duration, err error) {
	if len(m.Payload) > maxPayloadBytes {
		return air.State{}, 0, fmt.Errorf("%w: %d bytes, at most %d", ErrGarbled, len(m.Payload), maxPayloadBytes)
	}
	document, err := parseDocument(m.Payload)
	if err != nil {
		return air.State{}, 0, err
	}
	at, err = p.measured(m, document)
	if err != nil {
		return air.State{}, 0, err
	}
	for _, q := range []struct {
		of   PublishedValue
		into *heard
	}{{p.config.Temperature, &p.temperature}, {p.config.Humidity, &p.humidity}} {
		if q.of.Topic != m.Topic {
			continue
		}
		x, err := q.of.number(document)
		if err != nil {
			return air.State{}, 0, fmt.Errorf("topic %q%s: %w", m.Topic, q.of.Pointer, err)
		}
		*q.into = heard{x*q.of.Factor + q.of.Offset, at, true}
	}
	apart := p.temperature.at - p.humidity.at
	if !p.temperature.there || !p.humidity.there || apart.Abs() > p.config.Together {
		return air.State{}, 0, ErrHalf
	}
	s, err = judge(p.temperature.value, p.humidity.value)
	return s, min(p.temperature.at, p.humidity.at), err
}

// farOff is how far in the future the time of a message may be: clocks differ.
const farOff = time.Minute

// measured returns when a message was measured. A time that lies in the future, or that cannot be
// compared since the wall clock is not set, says nothing: then a message counts from when it came,
// unless it was retained.
func (p *Published) measured(m Message, document any) (time.Duration, error) {
	if p.config.HasTime && !m.Wall.IsZero() {
		if value, there := p.config.Time.find(document); there {
			told, ok := parseTime(value)
			if !ok {
				return 0, fmt.Errorf("%w: a time at %s, as RFC 3339 or Unix seconds or milliseconds, found %.40v", ErrGarbled, p.config.Time, value)
			}
			if age := m.Wall.Sub(told); age > -farOff {
				return m.At - max(age, 0), nil
			}
		}
	}
	if m.Retained {
		return 0, ErrRetained
	}
	return m.At, nil
}

// parseDocument reads a payload that is one JSON value.
func parseDocument(payload []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(payload))
	d.UseNumber()
	var document any
	if err := d.Decode(&document); err != nil {
		return nil, fmt.Errorf("%w or JSON, found %.40q", ErrGarbled, payload)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("%w or one JSON value, found %.40q", ErrGarbled, payload)
	}
	return document, nil
}

// Number returns the number in a message, of an instrument with one quantity. The error is ErrGarbled, ErrNoValue or
// ErrRetained.
func (v PublishedValue) Number(m Message) (float64, error) {
	if len(m.Payload) > maxPayloadBytes {
		return 0, fmt.Errorf("%w: %d bytes, at most %d", ErrGarbled, len(m.Payload), maxPayloadBytes)
	}
	if m.Retained {
		return 0, ErrRetained
	}
	document, err := parseDocument(m.Payload)
	if err != nil {
		return 0, err
	}
	x, err := v.number(document)
	if err != nil {
		return 0, fmt.Errorf("topic %q%s: %w", m.Topic, v.Pointer, err)
	}
	return x*v.Factor + v.Offset, nil
}

// number returns the number that a value of a document is; some devices write it in quotes.
func (v PublishedValue) number(document any) (float64, error) {
	value, there := v.Pointer.find(document)
	if !there {
		return 0, fmt.Errorf("%w: there is nothing of that name", ErrGarbled)
	}
	text := ""
	switch x := value.(type) {
	case nil:
		return 0, ErrNoValue
	case json.Number:
		text = x.String()
	case string:
		text = x
	default:
		return 0, fmt.Errorf("%w, found %.40v", ErrGarbled, value)
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || strings.ContainsAny(text, "xX_pP") {
		return 0, fmt.Errorf("%w, found %.40q", ErrGarbled, text)
	}
	return x, nil
}

// millisecondsFrom is the Unix time above which a number is in milliseconds: the year 5138 in
// seconds, 1973 in milliseconds.
const millisecondsFrom = 1e11

// parseTime reads a time of a message.
func parseTime(value any) (time.Time, bool) {
	switch x := value.(type) {
	case string:
		t, err := time.Parse(time.RFC3339, x)
		return t, err == nil
	case json.Number:
		seconds, err := x.Float64()
		if err != nil || seconds <= 0 || seconds > 1e14 {
			return time.Time{}, false
		}
		if seconds >= millisecondsFrom {
			seconds /= 1000
		}
		whole, part := math.Modf(seconds)
		return time.Unix(int64(whole), int64(part*1e9)), true
	}
	return time.Time{}, false
}
