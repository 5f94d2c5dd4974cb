package air

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"
)

// HistoryDays is how many days a zone's history spans. It is long enough to learn the hours of
// the day and how days differ, and short enough to forget the last season.
const HistoryDays = 14

const (
	historyHours = (HistoryDays + 1) * 24
	// unknown marks an hour without a measurement. It is below every temperature.
	unknown = math.MinInt16
	// perUnit is how many steps a unit has. Values are kept in hundredths, which is finer than
	// any sensor and takes half the text of a float.
	perUnit = 100
)

// History is the air of a zone at the whole hours (of Unix time) of the last days. A Habit is
// learned from it. The zero History is empty. A History is a value: With and Shift leave the old
// one unchanged. It has at most 360 hours.
type History struct {
	// First is the hour of the first entry, counted from 1970.
	First int64 `json:"first"`
	// Temperatures and Humidities are in hundredths of a degree and of a per cent; both lists
	// are of the same length.
	Temperatures []int16 `json:"temperatures"`
	Humidities   []int16 `json:"humidities"`
}

// valid returns nil when the history is one that With could have made. The error names what is
// wrong.
func (h History) valid() error {
	if len(h.Temperatures) != len(h.Humidities) || len(h.Temperatures) > historyHours {
		return fmt.Errorf("history of %d temperatures and %d humidities, at most %d", len(h.Temperatures), len(h.Humidities), historyHours)
	}
	if h.First < 0 || h.First > 1<<40 {
		return fmt.Errorf("history begins %d hours after 1970", h.First)
	}
	for i := range h.Temperatures {
		if h.Temperatures[i] == unknown && h.Humidities[i] == unknown {
			continue
		}
		if err := (State{float64(h.Temperatures[i]) / perUnit, float64(h.Humidities[i]) / perUnit}).Valid(); err != nil {
			return fmt.Errorf("history, hour %d: %w", i, err)
		}
	}
	return nil
}

// UnmarshalJSON reads a history. It returns an error for one that is damaged.
func (h *History) UnmarshalJSON(text []byte) error {
	type plain History
	var read plain
	if err := json.Unmarshal(text, &read); err != nil {
		return err
	}
	if err := History(read).valid(); err != nil {
		return err
	}
	*h = History(read)
	return nil
}

// Hours returns how many hours the history spans, with those that have no measurement.
func (h History) Hours() int { return min(len(h.Temperatures), len(h.Humidities)) }

// End returns the last hour of the history, counted from 1970, and -1 for an empty one. It
// changes whenever an hour is added.
func (h History) End() int64 {
	if h.Hours() == 0 {
		return -1
	}
	return h.First + int64(h.Hours()) - 1
}

// at returns the air at an hour counted from 1970. ok is false where it was not measured.
func (h History) at(hour int64) (a State, ok bool) {
	i := hour - h.First
	if i < 0 || i >= int64(h.Hours()) || h.Temperatures[i] == unknown || h.Humidities[i] == unknown {
		return State{}, false
	}
	return State{TemperatureC: float64(h.Temperatures[i]) / perUnit, HumidityPct: float64(h.Humidities[i]) / perUnit}, true
}

// MeanTemperatureC returns the mean temperature of the last hours of the history, in °C. ok is false
// where none of them was measured.
func (h History) MeanTemperatureC(hours int) (celsius float64, ok bool) {
	sum, n := 0.0, 0
	for hour := h.End() - int64(hours) + 1; hour <= h.End(); hour++ {
		if a, known := h.at(hour); known {
			sum, n = sum+a.TemperatureC, n+1
		}
	}
	return sum / float64(max(n, 1)), n > 0
}

// hundredths returns a value as a number of hundredths. The value must be within the limits of
// the package.
func hundredths(v float64) int16 { return int16(math.Round(v * perUnit)) }

// With returns the history with a stretch of measured air added. The air changes linearly
// between the two states. Hours that the history already has are ignored: a clock that was set
// back does not change the record.
func (h History) With(start time.Time, duration time.Duration, from, to State) History {
	if duration < 0 || start.Unix() < 0 {
		return h
	}
	first, last := hourFrom(start), hourUntil(start.Add(duration))
	if first = max(first, h.End()+1, last-historyHours+1); first > last {
		return h
	}
	from, to = from.Clamp(), to.Clamp()
	var n History
	if h.Hours() > 0 && first-h.End() <= historyHours {
		n = History{First: h.First, Temperatures: slices.Clone(h.Temperatures), Humidities: slices.Clone(h.Humidities)}
		for hour := h.End() + 1; hour < first; hour++ {
			n.Temperatures, n.Humidities = append(n.Temperatures, unknown), append(n.Humidities, unknown)
		}
	} else {
		n.First = first
	}
	for hour := first; hour <= last; hour++ {
		f := 0.0
		if duration > 0 {
			f = float64(time.Unix(hour*3600, 0).Sub(start)) / float64(duration)
		}
		a := Lerp(from, to, f)
		n.Temperatures, n.Humidities = append(n.Temperatures, hundredths(a.TemperatureC)), append(n.Humidities, hundredths(a.HumidityPct))
	}
	if old := n.Hours() - historyHours; old > 0 {
		n.First += int64(old)
		n.Temperatures, n.Humidities = n.Temperatures[old:], n.Humidities[old:]
	}
	return n
}

// Shift returns the history after the clock was moved by d, rounded to a whole hour.
func (h History) Shift(d time.Duration) History {
	if h.Hours() == 0 {
		return h
	}
	h.First += int64(math.Round(d.Hours()))
	if h.First < 0 { // a time before 1970 means that the clock was never set
		return History{}
	}
	return h
}

// hourFrom returns the first whole hour at or after t. hourUntil returns the last one at or
// before it.
func hourFrom(t time.Time) int64 {
	hour := hourUntil(t)
	if time.Unix(hour*3600, 0).Before(t) {
		hour++
	}
	return hour
}

func hourUntil(t time.Time) int64 { return int64(math.Floor(float64(t.Unix()) / 3600)) }
