package figures

import (
	"maps"
	"math"
	"slices"
	"time"

	"potlifed/daemon/chart"
	"potlifed/model/health"
)

// healthDays is how many days the figures of the instruments' health show.
const healthDays = 31

// daily is a figure of an instrument on a day.
type daily struct {
	date  string // on the shop's calendar, YYYY-MM-DD
	value *float64
}

// SensorHealth shows how each sensor was on each day of the month up to a time: the share of the day in which its readings
// were new enough, the greatest age of one, the share of its readings that failed, its jumps, the longest time without a change, and its difference to its neighbour. days are
// those of each sensor, by its id.
func (m Maker) SensorHealth(to time.Time, days map[string][]health.Day) chart.Figure {
	l := m.Locale
	hours := m.hoursAxis(l.Say("figure.health.unchanged"))
	count := chart.Axis{Label: l.Say("figure.health.jumps"), Format: func(n float64) string { return l.Number(n, 0) }}
	of := func(figure func(d health.Day) *float64) map[string][]daily {
		all := map[string][]daily{}
		for id, list := range days {
			for _, d := range list {
				all[id] = append(all[id], daily{d.Date, figure(d)})
			}
		}
		return all
	}
	return m.health("sensor-health", l.Say("figure.sensor-health.title"), l.Say("figure.sensor-health.about"), to, []chart.Panel{
		m.healthPanel(to, m.percentAxis(l.Say("figure.health.up")), of(func(d health.Day) *float64 { return upPct(d.Oldest, d.Down) })),
		m.healthPanel(to, m.minutesAxis(l.Say("figure.health.age")), of(func(d health.Day) *float64 { return ageMinutes(d.Oldest) })),
		m.healthPanel(to, m.percentAxis(l.Say("figure.health.failed")), of(func(d health.Day) *float64 {
			return new(100 * float64(d.Errors) / float64(max(d.N+d.Errors, 1)))
		})),
		m.healthPanel(to, count, of(func(d health.Day) *float64 { return new(float64(d.Jumps)) })),
		m.healthPanel(to, hours, of(func(d health.Day) *float64 { return new(d.Same.Hours()) })),
		m.healthPanel(to, m.percentAxis(l.Say("figure.health.apart")), of(func(d health.Day) *float64 {
			if d.Beside == "" {
				return nil
			}
			return new(d.ApartPct)
		})),
	})
}

// upPct is the share of a day in which the newest reading was not too old, in %; nil on a day of an older version.
func upPct(oldest, down time.Duration) *float64 {
	if oldest == 0 {
		return nil
	}
	return new(100 * max(0, 1-down.Hours()/24))
}

// ageMinutes is the greatest age of the newest reading in minutes; nil on a day of an older version.
func ageMinutes(oldest time.Duration) *float64 {
	if oldest == 0 {
		return nil
	}
	return new(oldest.Minutes())
}

// hoursAxis is an axis of times in hours, whose numbers are written with their unit.
func (m Maker) hoursAxis(label string) chart.Axis {
	return chart.Axis{Label: label, Format: func(h float64) string { return m.Locale.Duration(time.Duration(h * float64(time.Hour))) }}
}

// minutesAxis is an axis of times in minutes, whose numbers are written with their unit.
func (m Maker) minutesAxis(label string) chart.Axis {
	return chart.Axis{Label: label, Format: func(n float64) string { return m.Locale.Duration(time.Duration(n * float64(time.Minute))) }}
}

// ScaleHealth shows how each scale was on each day of the month up to a time: the share of the day in which it was heard, the
// greatest age of a weight, the share of its lines that could not be read, how long it took to settle, its noise, and its zero.
func (m Maker) ScaleHealth(to time.Time, days map[string][]health.PanDay) chart.Figure {
	l := m.Locale
	of := func(figure func(d health.PanDay) *float64) map[string][]daily {
		all := map[string][]daily{}
		for id, list := range days {
			for _, d := range list {
				all[id] = append(all[id], daily{d.Date, figure(d)})
			}
		}
		return all
	}
	grams := func(label string) chart.Axis {
		return chart.Axis{Label: label, Format: func(g float64) string { return l.Say("unit.grams", "value", l.Number(g, 3)) }}
	}
	seconds := chart.Axis{Label: l.Say("figure.health.settles"), Format: func(s float64) string { return l.Number(s, 1) }}
	return m.health("scale-health", l.Say("figure.scale-health.title"), l.Say("figure.scale-health.about"), to, []chart.Panel{
		m.healthPanel(to, m.percentAxis(l.Say("figure.health.up")), of(func(d health.PanDay) *float64 { return upPct(d.Oldest, d.Down) })),
		m.healthPanel(to, m.minutesAxis(l.Say("figure.health.age")), of(func(d health.PanDay) *float64 { return ageMinutes(d.Oldest) })),
		m.healthPanel(to, m.percentAxis(l.Say("figure.health.rejected")), of(func(d health.PanDay) *float64 {
			if d.Lines == 0 { // a day of an older version
				return nil
			}
			return new(100 * float64(d.Rejected) / float64(d.Lines))
		})),
		m.healthPanel(to, seconds, of(func(d health.PanDay) *float64 { return new(d.Settle.Seconds()) })),
		m.healthPanel(to, grams(l.Say("figure.health.noise")), of(func(d health.PanDay) *float64 { return d.NoiseG })),
		m.healthPanel(to, grams(l.Say("figure.health.zero")), of(func(d health.PanDay) *float64 { return d.ZeroG })),
	})
}

// health is a figure of the panels in which there is anything: a sensor without a neighbour has no difference to it.
func (m Maker) health(id, title, about string, to time.Time, all []chart.Panel) chart.Figure {
	var panels []chart.Panel
	for _, p := range all {
		if _, _, any := extent(p); any {
			panels = append(panels, p)
		}
	}
	if len(panels) == 0 {
		panels = all
	}
	return chart.Figure{
		ID: id, Title: title, About: about, Empty: m.Locale.Say("figure.health.empty"),
		X: m.timeAxis(to.AddDate(0, 0, -healthDays), to), Width: m.Width, Height: max(leastHealth*len(panels), m.height(0.2*float64(len(panels)))), Panels: panels,
	}
}

// healthPanel shows one figure of each instrument at the noon of each day; a day without it is a gap.
func (m Maker) healthPanel(to time.Time, y chart.Axis, of map[string][]daily) chart.Panel {
	p := chart.Panel{Y: y}
	from := to.AddDate(0, 0, -healthDays)
	for i, id := range slices.Sorted(maps.Keys(of)) {
		line := chart.Line{Name: id, Tone: tone(i)}
		last, gap := time.Time{}, false
		for _, d := range of[id] {
			noon, err := time.ParseInLocation("2006-01-02 15", d.date+" 12", m.Zone())
			if err != nil || noon.Before(from) || noon.After(to) || !noon.After(last) { // days of an older version have no date
				continue
			}
			gap = gap || d.value == nil || !last.IsZero() && noon.Sub(last) > 36*time.Hour
			if d.value == nil {
				continue
			}
			if gap && len(line.Points) > 0 {
				line.Points = append(line.Points, chart.Point{X: chart.X(last), Y: math.NaN()})
			}
			line.Points = append(line.Points, chart.Point{X: chart.X(noon), Y: *d.value})
			last, gap = noon, false
		}
		p.Layers = append(p.Layers, line)
	}
	if low, high, any := extent(p); any && low >= 0 { // from 0 on, so that days that hardly differ look alike
		p.Y.Max = 1.06 * high
		if high == 0 {
			p.Y.Max = 1
		}
	}
	return p
}

// extent returns the lowest and the highest value of the lines of a panel; any is false without one.
func extent(p chart.Panel) (low, high float64, any bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, l := range p.Layers {
		for _, point := range l.(chart.Line).Points {
			if !math.IsNaN(point.Y) {
				low, high, any = math.Min(low, point.Y), math.Max(high, point.Y), true
			}
		}
	}
	return low, high, any
}
