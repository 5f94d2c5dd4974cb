package figures

import (
	"cmp"
	"math"
	"slices"
	"time"

	"potlifed/daemon/chart"
	"potlifed/daemon/history"
	"potlifed/daemon/view"
)

// Air shows the humidity of zones over a period, with its range within each interval, and below
// it the batches that lived then, by the press that each was on last. rows are of one or more
// zones or sensors, each in the order of time.
func (m Maker) Air(from, to time.Time, rows []history.Air, batches []history.Batch) chart.Figure {
	rows = until(to, rows)
	names := distinct(rows, airOf)
	air := chart.Panel{Y: m.percentAxis(m.Locale.Say("figure.humidity")), Share: 2}
	for i, name := range names {
		line, band := m.humidity(rows, name, tone(i))
		air.Layers = append(air.Layers, band, line)
	}
	f := chart.Figure{
		ID: "air", Title: m.Locale.Say("figure.air.title"), About: m.Locale.Say("figure.air.about"), Empty: m.Locale.Say("figure.air.empty"),
		X: m.timeAxis(begun(from, to, rows), to), Width: m.Width, Height: m.height(0.45), Panels: []chart.Panel{air},
	}
	if below, ok := m.batches(from, to, batches); ok {
		f.Panels = append(f.Panels, below)
		f.Height = max(leastAir, m.height(0.6))
	}
	return f
}

// Day shows the humidity of zones on a small figure, without batches. Where the period goes on until now, the
// line of each zone ends with its newest value in newest, as the page writes it beside the figure.
func (m Maker) Day(from, to time.Time, rows []history.Air, newest []view.Air) chart.Figure {
	rows = until(to, rows)
	for _, v := range newest {
		if v.Quality == view.QualityGood && v.HumidityPct != nil && v.Time.After(from) && v.Time.Before(to.Add(time.Minute)) {
			at := v.Time
			if at.After(to) {
				at = to
			}
			rows = append(rows, history.Air{Time: at, To: at, Zone: v.Zone, HumidityPct: *v.HumidityPct, LowHumidityPct: *v.HumidityPct, HighHumidityPct: *v.HumidityPct})
		}
	}
	f := m.Air(from, to, rows, nil)
	f.ID, f.Title, f.About = "air-day", m.Locale.Say("figure.air-day.title"), m.Locale.Say("figure.air-day.about")
	f.Height = m.height(0.3)
	return f
}

// until ends the interval that is not over yet, so that no value is drawn later than to.
func until(to time.Time, rows []history.Air) []history.Air {
	rows = slices.Clone(rows)
	for i := range rows {
		if rows[i].To.After(to) && rows[i].Time.Before(to) {
			rows[i].To = to
		}
	}
	return rows
}

// Sensors shows what each sensor of one zone measured: humidity above, temperature below.
func (m Maker) Sensors(id string, from, to time.Time, rows []history.Air) chart.Figure {
	humidity := chart.Panel{Y: m.percentAxis(m.Locale.Say("figure.humidity"))}
	temperature := chart.Panel{Y: m.temperatureAxis()}
	for i, name := range distinct(rows, airOf) {
		line, band := m.humidity(rows, name, tone(i))
		humidity.Layers = append(humidity.Layers, band, line)
		warm := chart.Line{Name: name, Tone: tone(i)}
		last := time.Time{}
		for _, r := range rows {
			if airOf(r) != name {
				continue
			}
			x := middle(r)
			if !last.IsZero() && r.Time.After(last) {
				warm.Points = append(warm.Points, chart.Point{X: chart.X(last), Y: math.NaN()})
			}
			warm.Points = append(warm.Points, chart.Point{X: x, Y: m.Locale.Degrees(r.TemperatureC)})
			last = r.To
		}
		temperature.Layers = append(temperature.Layers, warm)
	}
	return chart.Figure{
		ID: id, Title: m.Locale.Say("figure.sensors.title"), About: m.Locale.Say("figure.sensors.about"), Empty: m.Locale.Say("figure.sensors.empty"),
		X: m.timeAxis(begun(from, to, rows), to), Width: m.Width, Height: max(leastSensors, m.height(0.45)), Panels: []chart.Panel{humidity, temperature},
	}
}

func (m Maker) temperatureAxis() chart.Axis {
	a := chart.Axis{Label: m.Locale.Say("figure.temperature-c"), Format: m.Locale.Temperature}
	if m.Locale.Fahrenheit {
		a.Label = m.Locale.Say("figure.temperature-f")
		a.Format = func(f float64) string { return m.Locale.Temperature((f - 32) / 1.8) }
	}
	return a
}

// airOf names what air is of: the sensor, or else the zone.
func airOf(a history.Air) string { return cmp.Or(a.Sensor, a.Zone) }

// middle is where an interval's mean is drawn.
func middle(a history.Air) float64 { return (chart.X(a.Time) + chart.X(a.To)) / 2 }

// humidity is the line of one zone or sensor, with gaps where there are no rows, and the band
// of its lowest and highest values.
func (m Maker) humidity(rows []history.Air, name string, t chart.Tone) (chart.Line, chart.Band) {
	line, band := chart.Line{Name: name, Tone: t}, chart.Band{Tone: t}
	last := time.Time{}
	for _, r := range rows {
		if airOf(r) != name {
			continue
		}
		if !last.IsZero() && r.Time.After(last) {
			gap := chart.X(last)
			line.Points = append(line.Points, chart.Point{X: gap, Y: math.NaN()})
			band.Points = append(band.Points, chart.Interval{X: gap, Low: math.NaN(), High: math.NaN()})
		}
		line.Points = append(line.Points, chart.Point{X: middle(r), Y: r.HumidityPct})
		band.Points = append(band.Points, chart.Interval{X: middle(r), Low: r.LowHumidityPct, High: r.HighHumidityPct})
		last = r.To
	}
	return line, band
}

// MostBatches is how many batches a picture shows; where more lived, it shows none: they could not be told apart.
const MostBatches = 120

// Lived reports whether a batch lived in a period, so that pictures of the period show it.
func Lived(b history.Batch, from, to time.Time) bool {
	return b.MixedAt != nil && b.ClosedAt.After(from) && b.MixedAt.Before(to)
}

// batches is a panel with the batches that lived in a period; ok is false without any, and with
// too many to be told apart.
func (m Maker) batches(from, to time.Time, all []history.Batch) (p chart.Panel, ok bool) {
	var shown []history.Batch
	for _, b := range all {
		if Lived(b, from, to) {
			shown = append(shown, b)
		}
	}
	if len(shown) == 0 || len(shown) > MostBatches {
		return p, false
	}
	place := func(b history.Batch) string { return cmp.Or(b.Press, m.Locale.Say("figure.no-press")) }
	p = chart.Panel{Rows: distinct(shown, place), Y: chart.Axis{Label: m.Locale.Say("figure.batches")}}
	row := map[string]int{}
	for i, name := range p.Rows {
		row[name] = i
	}
	spans := chart.Spans{Name: m.Locale.Say("figure.batches")}
	for i, b := range shown {
		spans.Spans = append(spans.Spans, chart.Span{
			From: chart.X(*b.MixedAt), To: math.Max(chart.X(b.ClosedAt), chart.X(*b.MixedAt)),
			Row: row[place(b)], Text: b.ID, Tone: tone(i),
		})
	}
	p.Layers = []chart.Layer{spans}
	return p, true
}
