package figures

import (
	"math"
	"time"

	"potlifed/daemon/chart"
	"potlifed/daemon/history"
	"potlifed/daemon/trace"
	"potlifed/model/cure"
	"potlifed/model/lifecycle"
	"potlifed/model/quality"
)

// Life shows the life of a batch: when it was expected to end, as seen at each time, and when it
// did; what was spent of its pot life; and its risk.
func (m Maker) Life(c trace.Course) chart.Figure {
	f := chart.Figure{
		ID: "life", Title: m.Locale.Say("figure.life.title", "batch", c.ID), About: m.Locale.Say("figure.life.about"), Empty: m.Locale.Say("figure.life.empty"),
		X: chart.Axis{Label: m.Locale.Say("figure.time"), Time: m.Zone(), Format: m.moment}, Width: m.Width, Height: max(leastLife, m.height(0.7)),
	}
	clock := chart.Axis{Label: m.Locale.Say("figure.life.end"), Time: m.Zone(), Format: m.moment}
	band, expected := chart.Band{Name: m.Locale.Say("figure.life.band"), Tone: chart.Series1}, chart.Line{Name: m.Locale.Say("figure.life.expected"), Tone: chart.Series1}
	for _, p := range c.Forecasts {
		x := chart.X(p.At)
		band.Points = append(band.Points, chart.Interval{X: x, Low: chart.X(p.Low), High: chart.X(p.High)})
		expected.Points = append(expected.Points, chart.Point{X: x, Y: chart.X(p.Expected)})
	}
	spent, risk := chart.Line{Name: m.Locale.Say("figure.life.spent"), Tone: chart.Series2}, chart.Line{Name: m.Locale.Say("figure.life.risk"), Tone: chart.Series3}
	for _, p := range c.Moments {
		x := chart.X(p.At)
		spent.Points = append(spent.Points, chart.Point{X: x, Y: p.Spent * 100})
		risk.Points = append(risk.Points, chart.Point{X: x, Y: p.Risk * 100})
	}
	ends, shares := chart.Panel{Y: clock, Layers: []chart.Layer{band, expected}}, chart.Panel{Y: m.percentAxis(m.Locale.Say("figure.share")), Layers: []chart.Layer{spent, risk}}
	if len(c.Moments) > 0 {
		// The whole of the pot life is shown from the start, so that the nominal end is in sight.
		shares.Y.Max = 105
		for _, p := range c.Moments {
			shares.Y.Max = math.Max(shares.Y.Max, 105*math.Max(p.Spent, p.Risk))
		}
		shares.Layers = append(shares.Layers, chart.Rule{Name: m.Locale.Say("figure.life.nominal"), Tone: chart.Limit, At: 100})
	}
	mark := func(at time.Time, tone chart.Tone, text string) {
		for _, p := range []*chart.Panel{&ends, &shares} {
			p.Layers = append(p.Layers, chart.Rule{Tone: tone, At: chart.X(at), Vertical: true, Text: text})
			text = "" // once, at the top
		}
	}
	if c.GoodAt != nil && c.MixedAt != nil && c.GoodAt.After(*c.MixedAt) {
		mark(*c.GoodAt, chart.Quiet, m.Locale.Say("figure.life.good"))
	}
	if c.ClosedAt != nil && len(c.Moments) > 0 {
		mark(*c.ClosedAt, chart.Alarm, m.Locale.Say("figure.end."+string(c.Outcome)))
		if c.Outcome == lifecycle.WentOff {
			ends.Layers = append(ends.Layers, chart.Rule{Name: m.Locale.Say("figure.life.true-end"), Tone: chart.Alarm, At: chart.X(*c.ClosedAt)})
		}
	}
	f.Panels = []chart.Panel{ends, shares}
	return f
}

// Checks shows how far each sensor was off its reference, with what was permitted.
func (m Maker) Checks(from, to time.Time, checks []history.Check) chart.Figure {
	panel := chart.Panel{Y: m.percentAxis(m.Locale.Say("figure.checks.off"))}
	limits := chart.Band{Name: m.Locale.Say("figure.checks.allowed"), Tone: chart.Quiet}
	for _, c := range checks {
		if c.OffPct != nil && c.AllowedPct > 0 {
			limits.Points = append(limits.Points, chart.Interval{X: chart.X(c.Time), Low: -c.AllowedPct, High: c.AllowedPct})
		}
	}
	panel.Layers = append(panel.Layers, limits)
	for i, sensor := range distinct(checks, func(c history.Check) string { return c.Sensor }) {
		marks := chart.Marks{Name: sensor, Tone: tone(i)}
		for _, c := range checks {
			if c.Sensor != sensor || c.OffPct == nil {
				continue
			}
			text := m.Locale.Say("figure.checks.passed")
			if !c.Passed {
				text = m.Locale.Say("figure.checks.failed")
			}
			marks.Points = append(marks.Points, chart.Mark{X: chart.X(c.Time), Y: *c.OffPct, Text: text, Alarm: !c.Passed})
		}
		panel.Layers = append(panel.Layers, marks)
	}
	return chart.Figure{
		ID: "checks", Title: m.Locale.Say("figure.checks.title"), About: m.Locale.Say("figure.checks.about"), Empty: m.Locale.Say("figure.checks.empty"),
		X: m.timeAxis(from, to), Width: m.Width, Height: m.height(0.35), Panels: []chart.Panel{panel},
	}
}

// Forecasted returns what is known of how the forecast of each batch was kept. A batch whose age
// is only a lower bound, and one that nobody judged, says nothing.
func Forecasted(batches []history.Batch) []quality.Forecasted {
	var all []quality.Forecasted
	for _, b := range batches {
		if b.Risk == nil || b.AtLeast {
			continue
		}
		switch {
		case b.Outcome == lifecycle.WentOff:
			all = append(all, quality.Forecasted{Risk: *b.Risk, Gone: true})
		case b.StillGood == lifecycle.GoodYes:
			all = append(all, quality.Forecasted{Risk: *b.Risk})
		}
	}
	return all
}

// Kept shows how the forecasts were kept: the share that had gone off by a risk, beside the risk.
func (m Maker) Kept(k quality.Kept) chart.Figure {
	percent := func(label string) chart.Axis {
		a := m.percentAxis(label)
		a.Min, a.Max = 0, 100
		return a
	}
	panel := chart.Panel{Y: percent(m.Locale.Say("figure.kept.came"))}
	if len(k.Points) > 0 {
		line, band := chart.Line{Name: m.Locale.Say("figure.kept.line"), Tone: chart.Series1, Steps: true}, chart.Band{Tone: chart.Series1}
		line.Points = append(line.Points, chart.Point{})
		for i, p := range k.Points {
			line.Points = append(line.Points, chart.Point{X: 100 * p.Risk, Y: 100 * p.Share})
			if i > 0 { // each share holds until the next one, and so does its interval
				held := k.Points[i-1].Interval
				band.Points = append(band.Points, chart.Interval{X: 100 * p.Risk, Low: 100 * held.Low, High: 100 * held.High})
			}
			band.Points = append(band.Points, chart.Interval{X: 100 * p.Risk, Low: 100 * p.Interval.Low, High: 100 * p.Interval.High})
		}
		promised := chart.Line{Name: m.Locale.Say("figure.kept.promised"), Tone: chart.Limit, Points: []chart.Point{{X: 0, Y: 0}, {X: 100, Y: 100}}}
		panel.Layers = []chart.Layer{band, promised, line}
	}
	return chart.Figure{
		ID: "kept", Title: m.Locale.Say("figure.kept.title"), About: m.kept(k) + " " + m.Locale.Say("figure.kept.about"), Empty: m.Locale.Say("figure.kept.empty"),
		X: percent(m.Locale.Say("figure.kept.risk")), Width: m.Width, Height: m.height(0.6), Panels: []chart.Panel{panel},
	}
}

// kept says in words whether what was promised came true.
func (m Maker) kept(k quality.Kept) string {
	if k.Gone < quality.FewestGone {
		return m.Locale.Say("figure.kept.few", "gone", k.Gone, "least", quality.FewestGone)
	}
	percent := func(share float64) string { return m.Locale.Percent(100*share, 0) }
	return m.Locale.Say("figure.kept.share", "gone", k.Gone, "share", percent(k.Share), "low", percent(k.Interval.Low), "high", percent(k.Interval.High), "promised", percent(cure.HighRisk-cure.LowRisk))
}
