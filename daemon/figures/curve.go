package figures

import (
	"cmp"
	"math"

	"potlifed/daemon/chart"
	"potlifed/daemon/study"
	"potlifed/model/quality"
)

// Curve shows the rate of a kind of defect over a condition: a point with its interval for each
// bin, and the fitted line with its band where there is an effect. kind is in the shop's words;
// "" means all kinds together.
func (m Maker) Curve(id string, c study.Curve, kind string) chart.Figure {
	at := func(x float64) float64 { return x }
	if c.Factor == quality.Temperature.String() {
		at = m.Locale.Degrees
	}
	kind = cmp.Or(kind, m.Locale.Say("figure.all-kinds"))
	y := chart.Axis{Label: m.Locale.Say("figure.rate"), Format: m.number}
	bins := chart.Marks{Name: m.Locale.Say("figure.bins"), Tone: chart.Series1}
	for _, b := range c.Bins {
		bins.Points = append(bins.Points, chart.Mark{
			X: at(b.Mean), Y: b.Rate * perThousand, Low: b.RateLow * perThousand, High: b.RateHigh * perThousand,
			Text: m.Locale.Say("figure.bin", "defects", m.Locale.Number(b.Defects, 0), "prints", m.Locale.Number(b.Prints, 0)),
		})
		// A bin with few prints has a long interval; it must not press all others together.
		y.Max = math.Max(y.Max, math.Min(b.RateHigh, 3*b.Rate)*perThousand*1.08)
	}
	line, band := chart.Line{Name: m.Locale.Say("figure.fit"), Tone: chart.Series2}, chart.Band{Tone: chart.Series2}
	for _, p := range c.Line {
		line.Points = append(line.Points, chart.Point{X: at(p.X), Y: p.Rate * perThousand})
		band.Points = append(band.Points, chart.Interval{X: at(p.X), Low: p.Low * perThousand, High: p.High * perThousand})
		y.Max = math.Max(y.Max, p.Rate*perThousand*1.2)
	}
	panel := chart.Panel{Y: y}
	if len(line.Points) > 0 {
		panel.Layers = append(panel.Layers, band, line)
	}
	panel.Layers = append(panel.Layers, bins)
	x := chart.Axis{Label: c.Title, Format: m.number}
	if n := len(c.Bins); n > 1 { // the first and the last point keep clear of the axes
		first, last := at(c.Bins[0].Mean), at(c.Bins[n-1].Mean)
		room := (last - first) * 0.03
		x.Min, x.Max = first-room, last+room
	}
	return chart.Figure{
		ID: id, Title: m.Locale.Say("figure.curve.title", "kind", kind, "factor", c.Title), About: m.Locale.Say("figure.curve.about"), Empty: m.Locale.Say("figure.curve.empty"),
		X: x, Width: m.Width, Height: m.height(0.5), Panels: []chart.Panel{panel},
	}
}
