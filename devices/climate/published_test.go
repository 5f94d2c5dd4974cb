package climate

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/model/air"
)

// The examples of RFC 6901, section 5, with its document.
func TestPointersOfTheRFC(t *testing.T) {
	document, err := parseDocument([]byte(`{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}`))
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{"/foo/0": "bar", "/": "0", "/a~1b": "1", "/c%d": "2", "/e^f": "3", "/g|h": "4", `/i\j`: "5", `/k"l`: "6", "/ ": "7", "/m~0n": "8"} {
		p, err := ParsePointer(text)
		if err != nil {
			t.Fatal(err)
		}
		value, there := p.find(document)
		if s, ok := value.(string); ok && s != want || !there || p.String() != text {
			t.Errorf("%q: %v, %t, %q", text, value, there, p)
		}
		if s, ok := value.(interface{ String() string }); ok && s.String() != want {
			t.Errorf("%q: %v, want %s", text, value, want)
		}
	}
	for _, text := range []string{"/foo/2", "/foo/-", "/foo/01", "/foo/bar", "/nothing", "/foo/0/x"} {
		p, _ := ParsePointer(text)
		if value, there := p.find(document); there {
			t.Errorf("%q: %v", text, value)
		}
	}
	for _, text := range []string{"foo", "/~", "/a~2", "/~~1"} {
		if _, err := ParsePointer(text); err == nil {
			t.Errorf("%q is a pointer", text)
		}
	}
}

func pointer(t *testing.T, text string) Pointer {
	t.Helper()
	p, err := ParsePointer(text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// wireless is a sensor that publishes both values in one message, with its time.
func wireless(t *testing.T) *Published {
	return NewPublished(PublishedConfig{
		Temperature: PublishedValue{Topic: "air", Pointer: pointer(t, "/temperature"), Factor: 1},
		Humidity:    PublishedValue{Topic: "air", Pointer: pointer(t, "/humidity"), Factor: 1},
		Time:        pointer(t, "/last_seen"), HasTime: true, Together: time.Minute,
	})
}

func TestMessages(t *testing.T) {
	now := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	const at = time.Hour
	for _, c := range []struct {
		payload  string
		retained bool
		noClock  bool
		age      time.Duration
		err      error
	}{
		{`{"temperature":21.5,"humidity":48.3}`, false, false, 0, nil},
		{`{"temperature":"21.5","humidity":"48.3"}`, false, false, 0, nil},
		{`{"temperature":21.5,"humidity":48.3}`, true, false, 0, ErrRetained},
		{`{"temperature":21.5,"humidity":48.3,"last_seen":"2026-06-12T07:50:00Z"}`, false, false, 10 * time.Minute, nil},
		{`{"temperature":21.5,"humidity":48.3,"last_seen":"2026-06-12T09:50:00+02:00"}`, true, false, 10 * time.Minute, nil},
		{`{"temperature":21.5,"humidity":48.3,"last_seen":1781250600}`, true, false, 10 * time.Minute, nil},
		{`{"temperature":21.5,"humidity":48.3,"last_seen":1781250600000}`, true, false, 10 * time.Minute, nil},
		{`{"temperature":21.5,"humidity":48.3,"last_seen":"2026-06-12T08:00:30Z"}`, true, false, 0, nil}, // clocks differ
		// Its clock is wrong: nothing is known of a retained message, and of another when it came.
		{`{"temperature":21.5,"humidity":48.3,"last_seen":"2031-01-01T00:00:00Z"}`, false, false, 0, nil},
		{`{"temperature":21.5,"humidity":48.3,"last_seen":"2031-01-01T00:00:00Z"}`, true, false, 0, ErrRetained},
		// Ours is not set.
		{`{"temperature":21.5,"humidity":48.3,"last_seen":"2026-06-12T07:50:00Z"}`, true, true, 0, ErrRetained},
		{`{"temperature":21.5,"humidity":48.3,"last_seen":"2026-06-12T07:50:00Z"}`, false, true, 0, nil},
		{`{"temperature":21.5,"humidity":48.3,"last_seen":"yesterday"}`, false, false, 0, ErrGarbled},
		{`{"temperature":null,"humidity":48.3}`, false, false, 0, ErrNoValue},
		{`{"humidity":48.3}`, false, false, 0, ErrGarbled},
		{`{"temperature":true,"humidity":48.3}`, false, false, 0, ErrGarbled},
		{`{"temperature":"0x15","humidity":48.3}`, false, false, 0, ErrGarbled},
		{`{"temperature":"NaN","humidity":48.3}`, false, false, 0, ErrGarbled},
		{`{"temperature":1e999,"humidity":48.3}`, false, false, 0, ErrGarbled},
		{`{"temperature":2150,"humidity":4830}`, false, false, 0, ErrImplausible},
		{`{"temperature":21.5,"humidity":48.3} {}`, false, false, 0, ErrGarbled},
		{`21.5`, false, false, 0, ErrGarbled},
		{``, false, false, 0, ErrGarbled},
		{`{`, false, false, 0, ErrGarbled},
		{strings.Repeat("[", maxPayloadBytes), false, false, 0, ErrGarbled},
		{`"` + strings.Repeat("x", maxPayloadBytes) + `"`, false, false, 0, ErrGarbled},
	} {
		m := Message{Topic: "air", Payload: []byte(c.payload), Retained: c.retained, At: at, Wall: now}
		if c.noClock {
			m.Wall = time.Time{}
		}
		got, measured, err := wireless(t).Take(m)
		if !errors.Is(err, c.err) || err == nil && (got != (air.State{TemperatureC: 21.5, HumidityPct: 48.3}) || at-measured != c.age) || err != nil && got != (air.State{}) {
			t.Errorf("%.80s, retained %t: %+v, age %v, %v; want age %v, %v", c.payload, c.retained, got, at-measured, err, c.age, c.err)
		}
	}
}

// Two topics of plain numbers: a reading is as old as the older of the two, and both must be near.
func TestTwoTopics(t *testing.T) {
	c := PublishedConfig{Temperature: PublishedValue{Topic: "t", Factor: 5.0 / 9, Offset: -160.0 / 9}, Humidity: PublishedValue{Topic: "h", Factor: 1}, Together: time.Minute}
	p := NewPublished(c)
	if !slices.Equal(c.Topics(), []string{"t", "h"}) {
		t.Errorf("topics %v", c.Topics())
	}
	for _, m := range []struct {
		topic, payload string
		retained       bool
		at, want       time.Duration
		err            error
	}{
		{"t", "70.7", true, 0, 0, ErrRetained},
		{"h", "48.3", false, 1 * time.Second, 0, ErrHalf},
		{"t", "70.7", false, 2 * time.Second, time.Second, nil},
		{"t", "70.7", false, 50 * time.Second, time.Second, nil},
		{"t", "70.7", false, 62 * time.Second, 0, ErrHalf},
		{"h", "48.3", false, 63 * time.Second, 62 * time.Second, nil},
		{"other", "1", false, 64 * time.Second, 62 * time.Second, nil},
	} {
		got, at, err := p.Take(Message{Topic: m.topic, Payload: []byte(m.payload), Retained: m.retained, At: m.at})
		if !errors.Is(err, m.err) || err == nil && (at != m.want || got.HumidityPct != 48.3 || got.TemperatureC < 21.499 || got.TemperatureC > 21.501) {
			t.Errorf("%+v: %+v at %v, %v", m, got, at, err)
		}
	}
}

func FuzzPublished(f *testing.F) {
	f.Add(`{"temperature":21.5,"humidity":48.3,"last_seen":1781250600}`, "/temperature")
	f.Add(`[[1]]`, "/0/0")
	f.Fuzz(func(t *testing.T, payload, text string) {
		p, err := ParsePointer(text)
		if err != nil {
			return
		}
		if p.String() != text {
			t.Errorf("%q became %q", text, p)
		}
		value := PublishedValue{Topic: "air", Pointer: p, Factor: 1}
		s, _, err := NewPublished(PublishedConfig{Temperature: value, Humidity: value, Time: p, HasTime: true}).
			Take(Message{Topic: "air", Payload: []byte(payload), Wall: time.Unix(1781250600, 0)})
		if err != nil && s != (air.State{}) || err == nil && s.Valid() != nil {
			t.Errorf("%q at %q: %+v, %v", payload, text, s, err)
		}
	})
}

// A message of an instrument with one quantity gives its number, or says why not.
func TestTheNumberOfAMessage(t *testing.T) {
	of := func(pointer string) PublishedValue {
		p, err := ParsePointer(pointer)
		if err != nil {
			t.Fatal(err)
		}
		return PublishedValue{Topic: "stirrer", Pointer: p, Factor: 2, Offset: -1}
	}
	for _, row := range []struct {
		pointer, payload string
		retained         bool
		want             float64
		err              error
	}{
		{"", "12.5", false, 24, nil}, {"/motor/torque", `{"motor":{"torque":"3"}}`, false, 5, nil},
		{"", "12.5", true, 0, ErrRetained}, {"/motor", `{"motor":null}`, false, 0, ErrNoValue},
		{"/torque", `{"speed":3}`, false, 0, ErrGarbled}, {"", "stop", false, 0, ErrGarbled}, {"", strings.Repeat(" ", maxPayloadBytes) + "1", false, 0, ErrGarbled},
	} {
		x, err := of(row.pointer).Number(Message{Topic: "stirrer", Payload: []byte(row.payload), Retained: row.retained})
		if x != row.want || !errors.Is(err, row.err) {
			t.Errorf("%.30q at %q: %v, %v", row.payload, row.pointer, x, err)
		}
	}
}
