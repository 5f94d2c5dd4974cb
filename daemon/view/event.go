package view

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/precision"
)

// Event is an event as it is published: the fields of its record's body beside those that
// every event has.
type Event struct {
	Seq  uint64
	Kind string
	JSON json.RawMessage
}

// Source is where events come from: what tells them apart from those of other benches once they are
// in one table.
type Source struct {
	Bench   string // the bench's present name
	Journal string // id
}

// WireEvent returns the published form of an event from the given source. Its fields stand
// beside time, seq, bench, journal, kind and by.
//
// The published form is derived from the stored body and differs from it in two ways:
// durations are in seconds and not in nanoseconds, and figures are rounded to what is
// known of them. The stored body keeps its names and all digits, so that every journal can
// be replayed. The error says which event has a body that is no JSON object.
func WireEvent(from Source, seq uint64, at time.Time, kind string, by actor.Name, body []byte) (Event, error) {
	head, err := json.Marshal(struct {
		Time    time.Time  `json:"time"`
		Seq     uint64     `json:"seq"`
		Bench   string     `json:"bench"`
		Journal string     `json:"journal"`
		Kind    string     `json:"kind"`
		By      actor.Name `json:"by"`
	}{at, seq, from.Bench, from.Journal, kind, by})
	if err != nil {
		return Event{}, fmt.Errorf("event %d: %w", seq, err)
	}
	fields, err := published(body)
	if err != nil {
		return Event{}, fmt.Errorf("event %d: %w", seq, err)
	}
	if rest := bytes.TrimLeft(fields[1:], " \t\r\n"); rest[0] != '}' { // it has fields
		head = append(head[:len(head)-1], ',')
		head = append(head, rest...)
	}
	return Event{Seq: seq, Kind: kind, JSON: head}, nil
}

var errNoObject = errors.New("body is not an object")

// published returns the published form of a stored body. It copies the body and changes
// names and numbers on the way, so that the order of the fields stays. A number in a list
// has the name of the list.
func published(body []byte) ([]byte, error) {
	body = bytes.TrimSpace(body)
	if len(body) == 0 || body[0] != '{' || !json.Valid(body) {
		return nil, errNoObject
	}
	divisionG := divisionOf(body)
	out := make([]byte, 0, len(body))
	name := ""
	for len(body) > 0 {
		var n int
		switch c := body[0]; {
		case c == '"':
			n = textLength(body)
			if !isKey(body[n:]) {
				out = append(out, body[:n]...)
				break
			}
			name = string(body[1 : n-1])
			out = append(append(append(out, '"'), PublishedName(name)...), '"')
		case c == '-' || '0' <= c && c <= '9':
			n = numberLength(body)
			var err error
			if out, err = appendNumber(out, name, body[:n], divisionG); err != nil {
				return nil, err
			}
		default:
			n = 1
			out = append(out, c)
		}
		body = body[n:]
	}
	return out, nil
}

// textLength returns the length of the text in quotes that valid JSON begins with.
func textLength(json []byte) int {
	for i := 1; ; i++ {
		switch json[i] {
		case '\\':
			i++
		case '"':
			return i + 1
		}
	}
}

// isKey reports whether a text is a key, by what follows it.
func isKey(rest []byte) bool {
	rest = bytes.TrimLeft(rest, " \t\r\n")
	return len(rest) > 0 && rest[0] == ':'
}

// numberLength returns the length of the number that valid JSON begins with.
func numberLength(json []byte) int {
	n := bytes.IndexFunc(json, func(r rune) bool { return !strings.ContainsRune("+-.0123456789eE", r) })
	if n < 0 {
		return len(json)
	}
	return n
}

// appendNumber appends the published form of the number of a stored field.
func appendNumber(out []byte, name string, text []byte, divisionG float64) ([]byte, error) {
	round := figureOf(name)
	if round == nil {
		return append(out, text...), nil
	}
	x, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return strconv.AppendFloat(out, round(x, divisionG), 'f', -1, 64), nil
}

// divisionOf returns the division in g of the scale that the masses of a body were weighed
// with, 0 when the body does not say.
func divisionOf(body []byte) float64 {
	var b struct {
		Mix struct {
			Recipe struct {
				DivisionG float64 `json:"division_g"`
			} `json:"recipe"`
			ByHand bool `json:"by_hand"`
		} `json:"mix"`
	}
	if json.Unmarshal(body, &b) != nil || b.Mix.ByHand {
		return 0
	}
	return b.Mix.Recipe.DivisionG
}

// nanoseconds ends the stored name of a duration; seconds ends its published one.
const (
	nanoseconds = "_ns"
	seconds     = "_s"
)

// PublishedName returns the name under which a stored field is published.
func PublishedName(stored string) string {
	switch stored {
	case "VapourPressurePa":
		return "vapour_pressure_pa"
	case "MolarMassG":
		return "molar_mass_g"
	}
	if of, is := strings.CutSuffix(stored, nanoseconds); is {
		return of + seconds
	}
	return stored
}

// figure rounds a stored figure, and converts it where its published unit is another.
type figure func(x, divisionG float64) float64

// counts are the stored fields that hold whole numbers. They are not rounded.
var counts = map[string]bool{
	"undoes": true, "add": true, "counter": true, "ends": true, "alive": true, "pours": true, "stirred": true,
}

// unlike are the fields whose name does not end in their unit, or ends in the letters of another
// unit.
var unlike = map[string]figure{
	"g":                 precision.Grams,
	"division_g":        asConfigured,
	"MolarMassG":        without(precision.Hundredths),
	"VapourPressurePa":  without(precision.Hundredths),
	"mouth_mm":          without(precision.Hundredths),
	"overdue_months":    without(precision.Hundredths),
	"activation_spread": without(precision.KJPerMol),
}

// units are the endings of the names of figures, and how a figure with this ending is rounded.
var units = []struct {
	suffix string
	round  figure
}{
	{nanoseconds, func(ns, _ float64) float64 { return precision.Seconds(ns / 1e9) }},
	{"_kj_mol", without(precision.KJPerMol)},
	{"_pct", without(precision.Percent)},
	{"_g_m3", without(precision.GramsPerM3)},
	{"_c", without(precision.Celsius)},
	{"_g", precision.Grams},
	{"_h", without(precision.Hours)},
	{seconds, without(precision.Seconds)},
}

func without(round func(float64) float64) figure {
	return func(x, _ float64) float64 { return round(x) }
}

func asConfigured(x, _ float64) float64 { return x }

// figureOf returns how the figure of a stored field is rounded, nil for a count. A figure
// without a unit is a share or a ratio.
func figureOf(name string) figure {
	if counts[name] {
		return nil
	}
	if round, is := unlike[name]; is {
		return round
	}
	for _, u := range units {
		if strings.HasSuffix(name, u.suffix) {
			return u.round
		}
	}
	return without(precision.Share)
}
