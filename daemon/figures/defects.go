package figures

import (
	"math"
	"slices"
	"time"

	"potlifed/daemon/chart"
	"potlifed/daemon/history"
	"potlifed/daemon/study"
)

// perThousand is how rates are shown: rejects of 1000 prints.
const perThousand = 1000

// number words a figure with three digits, more before the decimal mark.
func (m Maker) number(v float64) string {
	decimals := 0
	if size := math.Abs(v); size > 0 && size < 100 {
		decimals = min(4, 2-int(math.Floor(math.Log10(size))))
	}
	return m.Locale.Number(v, decimals)
}

// Control shows a control chart of a press, with the air and the batches on the same axis of
// time, so that one sees which batch, which hour and which air a run went wrong in.
func (m Maker) Control(c study.Chart, from, to time.Time, air []history.Air, batches []history.Batch) chart.Figure {
	rates := chart.Marks{Name: m.Locale.Say("figure.control.points"), Tone: chart.Series1}
	path := chart.Line{Tone: chart.Series1}
	low, high := chart.Line{Name: m.Locale.Say("figure.control.limits"), Tone: chart.Limit, Steps: true}, chart.Line{Tone: chart.Limit, Steps: true}
	last := math.Inf(-1)
	for _, p := range c.Points {
		// Two batches may have been printed in turns, so that their spans overlap: each point
		// stands after the one before.
		begin := math.Max(chart.X(p.From), last)
		end := math.Max(chart.X(p.To), begin)
		last = end
		x, rate := (begin+end)/2, p.Rate*perThousand
		rates.Points = append(rates.Points, chart.Mark{X: x, Y: rate, Text: m.controlText(p), Alarm: p.Out || len(p.Rules) > 0})
		path.Points = append(path.Points, chart.Point{X: x, Y: rate})
		low.Points = append(low.Points, chart.Point{X: begin, Y: p.Low * perThousand}, chart.Point{X: end, Y: p.Low * perThousand})
		high.Points = append(high.Points, chart.Point{X: begin, Y: p.High * perThousand}, chart.Point{X: end, Y: p.High * perThousand})
	}
	y := chart.Axis{Label: m.Locale.Say("figure.rate"), Format: m.number, Max: top(c) * perThousand}
	panel := chart.Panel{Y: y, Share: 2, Layers: []chart.Layer{
		low, high, chart.Rule{Name: m.Locale.Say("figure.control.centre"), Tone: chart.Quiet, At: c.Centre * perThousand}, path, rates,
	}}
	f := chart.Figure{
		ID: "control-" + c.Press, Title: m.Locale.Say("figure.control.title", "press", c.Press), About: m.controlAbout(c), Empty: m.Locale.Say("figure.control.empty"),
		X: m.timeAxis(begun(from, to, air), to), Width: m.Width, Height: max(leastControl, m.height(0.6)), Panels: []chart.Panel{panel},
	}
	if len(c.Points) == 0 {
		return f
	}
	humidity := chart.Panel{Y: m.percentAxis(m.Locale.Say("figure.humidity"))}
	for i, name := range distinct(air, airOf) {
		line, band := m.humidity(air, name, tone(i+2))
		humidity.Layers = append(humidity.Layers, band, line)
	}
	f.Panels = append(f.Panels, humidity)
	if below, ok := m.batches(from, to, batches); ok {
		below.Share = 0.7
		f.Panels = append(f.Panels, below)
	}
	return f
}

// controlAbout says how to read a control chart, and what it shows.
func (m Maker) controlAbout(c study.Chart) string {
	out, cut := 0, false
	for _, p := range c.Points {
		if p.Out {
			out++
		}
		cut = cut || p.High > top(c)
	}
	about := m.Locale.Say("figure.control.about")
	switch {
	case len(c.Points) == 0:
		return about
	case out > 0:
		about += " " + m.Locale.Say("figure.control.beyond", "n", out)
	case c.Sparse:
		about += " " + m.Locale.Say("figure.control.sparse")
	default:
		about += " " + m.Locale.Say("figure.control.in")
	}
	if cut {
		about += " " + m.Locale.Say("figure.control.cut")
	}
	return about
}

// muchWider is how many times the usual height of a control chart the widest limit may ask for: up to it the
// points are still told apart.
const muchWider = 1.6

// top returns the rate at which a control chart ends: above every point and at least half of the limits, and above
// all limits where that does not press the points together, as the wide limit of a point with few prints would.
func top(c study.Chart) float64 {
	var highs []float64
	highest := c.Centre
	for _, p := range c.Points {
		highs = append(highs, p.High)
		highest = math.Max(highest, p.Rate)
	}
	if len(highs) == 0 {
		return 0
	}
	slices.Sort(highs)
	usual := 1.15 * math.Max(highest, highs[len(highs)/2])
	if all := 1.05 * highs[len(highs)-1]; all <= muchWider*usual {
		return math.Max(usual, all)
	}
	return usual
}

// controlText says of a point what it counts and why it is marked.
func (m Maker) controlText(p study.ChartPoint) string {
	text := m.Locale.Say("figure.bin", "defects", m.Locale.Number(p.Defects, 0), "prints", m.Locale.Number(p.Prints, 0))
	if p.Batch != "" {
		text = p.Batch + ", " + text
	}
	if p.Out {
		text += ", " + m.Locale.Say("figure.control.out")
	}
	for _, r := range p.Rules {
		text += ", " + m.Locale.Say("figure.rule."+string(r))
	}
	return text
}
