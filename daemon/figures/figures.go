// Package figures makes the pictures of the shop: the air and the batches that lived in it,
// rejects over a condition, control charts, checks of sensors, and how well forecasts were
// kept. It turns rows of the history and results of a study into figures of package chart, in
// the shop's language, time zone and unit of temperature. It reads nothing itself.
package figures

import (
	"math"
	"slices"
	"time"

	"potlifed/daemon/chart"
	"potlifed/daemon/history"
	"potlifed/daemon/words"
)

// Maker makes figures for one shop.
type Maker struct {
	Locale words.Locale
	Width  int // of each figure, in CSS pixels; 200 to 4000
}

// Zone returns the shop's time zone. It is never nil.
func (m Maker) Zone() *time.Location { return m.Locale.In(time.Time{}).Location() }

// timeAxis is an axis of time from one moment to another.
func (m Maker) timeAxis(from, to time.Time) chart.Axis {
	days := map[int]string{} // most days have several values
	moment := func(x float64) string {
		at := m.Locale.In(time.UnixMilli(int64(x * 1000)))
		day := at.Year()*1000 + at.YearDay()
		if days[day] == "" {
			days[day] = m.Locale.Day(at)
		}
		return days[day] + " " + at.Format("15:04")
	}
	return chart.Axis{Label: m.Locale.Say("figure.time"), Time: m.Zone(), Min: chart.X(from), Max: chart.X(to), Format: moment}
}

// begun returns the begin of a period, or the first value where that is later: the time before a
// bench had its first reading says nothing.
func begun(from, to time.Time, air []history.Air) time.Time {
	first := to
	for _, r := range air {
		if r.Time.Before(first) {
			first = r.Time
		}
	}
	if first.After(from) && first.Before(to) {
		return first
	}
	return from
}

// moment words a value of an axis of time.
func (m Maker) moment(x float64) string {
	at := m.Locale.In(time.UnixMilli(int64(x * 1000)))
	return m.Locale.Day(at) + " " + at.Format("15:04")
}

func (m Maker) percentAxis(label string) chart.Axis {
	return chart.Axis{Label: label, Format: func(v float64) string { return m.Locale.Percent(v, 1) }}
}

// words are the headings of the tables beside the figures.
func (m Maker) words() chart.Words {
	return chart.Words{From: m.Locale.Say("figure.from"), To: m.Locale.Say("figure.to"), Low: m.Locale.Say("figure.low"), High: m.Locale.Say("figure.high"), What: m.Locale.Say("figure.what")}
}

// Tables returns the data of a figure.
func (m Maker) Tables(f chart.Figure) []chart.Table { return f.Tables(m.words()) }

// tone returns the tone of the i-th series. There are four; a fifth looks like the first and is
// told apart by its name only.
func tone(i int) chart.Tone { return chart.Tones[i%len(chart.Tones)] }

// The least heights of figures with several panels, whose words would else run into each other on a phone.
const (
	leastAir     = 320
	leastControl = 580 // so that the humidity has room for the label of its axis
	leastLife    = 380
	leastSensors = 420
	leastHealth  = 130 // for each panel
)

// height keeps the proportions of a figure pleasant on a phone and on a desk.
func (m Maker) height(share float64) int {
	return min(900, max(220, int(math.Round(float64(m.Width)*share))))
}

// distinct returns the values that occur, each once, sorted.
func distinct[T any](rows []T, of func(T) string) []string {
	var all []string
	for _, r := range rows {
		if v := of(r); v != "" {
			all = append(all, v)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}
