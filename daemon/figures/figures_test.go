package figures

import (
	"math"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/chart"
	"potlifed/daemon/history"
	"potlifed/daemon/study"
	"potlifed/daemon/trace"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/lifecycle"
	"potlifed/model/quality"
)

var morning = time.Date(2026, 6, 12, 6, 0, 0, 0, time.UTC)

func maker() Maker { return Maker{Locale: words.Locale{Zone: time.UTC}, Width: 900} }

// drawn renders a figure and returns its SVG and its tables by caption.
func drawn(t *testing.T, m Maker, f chart.Figure) (string, map[string]chart.Table) {
	t.Helper()
	var svg strings.Builder
	if err := f.Render(&svg); err != nil {
		t.Fatal(err)
	}
	tables := map[string]chart.Table{}
	for _, table := range m.Tables(f) {
		tables[table.Caption] = table
	}
	return svg.String(), tables
}

func air(zone string, hours ...float64) []history.Air {
	var rows []history.Air
	for _, h := range hours {
		from := morning.Add(time.Duration(h * float64(time.Hour)))
		rows = append(rows, history.Air{Time: from, To: from.Add(history.Quarter), Zone: zone, TemperatureC: 21, HumidityPct: 40 + h, LowHumidityPct: 39 + h, HighHumidityPct: 41 + h})
	}
	return rows
}

func batch(id, press string, from, hours float64, outcome lifecycle.Outcome) history.Batch {
	mixed := morning.Add(time.Duration(from * float64(time.Hour)))
	return history.Batch{ID: id, Press: press, MixedAt: &mixed, ClosedAt: mixed.Add(time.Duration(hours * float64(time.Hour))), Outcome: outcome}
}

func TestAir(t *testing.T) {
	m := maker()
	to := morning.Add(12 * time.Hour)
	rows := append(air("bench", 0, 0.25, 3), air("hall", 1)...)
	batches := []history.Batch{batch("0612-1", "press-1", 1, 6, lifecycle.UsedUp), batch("0612-2", "", 2, 4, lifecycle.UsedUp), batch("0611-9", "press-1", -20, 8, lifecycle.UsedUp)}
	svg, tables := drawn(t, m, m.Air(morning, to, rows, batches))
	if got := len(tables["bench"].Rows); got != 3 {
		t.Errorf("the table of the bench has %d rows, want 3", got)
	}
	for _, want := range []string{"0612-1", "0612-2", "press-1", "on no press"} {
		if !strings.Contains(svg, want) {
			t.Errorf("the picture does not show %s", want)
		}
	}
	if strings.Contains(svg, "0611-9") {
		t.Error("a batch of another day is shown")
	}
	// Between 0:30 and 3:00 nothing was measured: the line has two parts, the second a dot.
	line, _ := m.humidity(rows, "bench", chart.Series1)
	gaps := 0
	for _, p := range line.Points {
		if math.IsNaN(p.Y) {
			gaps++
		}
	}
	if gaps != 1 {
		t.Errorf("%d gaps, want 1", gaps)
	}
}

// The time before a bench had its first reading is not drawn.
// The line of the day ends with what the page writes beside it, and no later than now.
func TestTheDayEndsWithNow(t *testing.T) {
	m := maker()
	to, humidity := morning.Add(24*time.Hour+3*time.Minute), 88.0
	newest := view.Air{Zone: "bench", Time: to.Add(-2 * time.Second), HumidityPct: &humidity, Quality: view.QualityGood}
	ends := func(newest view.Air) chart.Point {
		points := m.Day(morning, to, air("bench", 23.5, 23.75, 24), []view.Air{newest}).Panels[0].Layers[1].(chart.Line).Points
		for _, p := range points {
			if p.X > chart.X(to) {
				t.Errorf("a value is drawn after now")
			}
		}
		return points[len(points)-1]
	}
	if end := ends(newest); end != (chart.Point{X: chart.X(newest.Time), Y: humidity}) {
		t.Errorf("the line ends with %v", end)
	}
	newest.Quality = view.QualityBad
	if end := ends(newest); end.Y == humidity {
		t.Error("a value that is not to be relied on is drawn")
	}
	newest.Quality, newest.Time = view.QualityGood, to.Add(time.Hour)
	if end := ends(newest); end.Y == humidity {
		t.Error("the air of now is drawn in a period of the past")
	}
}

func TestAxisBeginsWithTheFirstReading(t *testing.T) {
	to := morning.Add(6 * time.Hour)
	f := maker().Air(morning.AddDate(0, -1, 0), to, air("bench", 0, 0.25), nil)
	if f.X.Min != chart.X(morning) || f.X.Max != chart.X(to) {
		t.Errorf("the axis runs from %v", f.X.Min-chart.X(morning))
	}
	if f := maker().Air(morning, to, nil, nil); f.X.Min != chart.X(morning) {
		t.Error("without readings the axis is not the period")
	}
}

func TestFahrenheit(t *testing.T) {
	m := maker()
	m.Locale.Fahrenheit = true
	_, tables := drawn(t, m, m.Sensors("sensors", morning, morning.Add(time.Hour), air("bench", 0)))
	found := false
	for _, row := range tables["bench"].Rows {
		found = found || strings.HasPrefix(row[1], "69.8") // 21 °C
	}
	if !found {
		t.Errorf("no temperature in °F: %v", tables["bench"])
	}
	c := study.Curve{Kind: study.All, Factor: quality.Temperature.String(), Title: "Air temperature, °F", Bins: []study.Bin{{Mean: 20, Prints: 1000, Defects: 20}, {Mean: 25, Prints: 500, Defects: 20}}}
	f := m.Curve("curve", c, "")
	if bins := f.Panels[0].Layers[0].(chart.Marks).Points; bins[0].X != 68 || bins[1].X != 77 || f.X.Min > 68 || f.X.Max < 77 {
		t.Errorf("a curve over the temperature is not in °F: %v from %v to %v", bins, f.X.Min, f.X.Max)
	}
}

func TestCurve(t *testing.T) {
	m := maker()
	c := study.Curve{Kind: study.All, Factor: quality.VapourDensity.String(), Title: "Water vapour", Bins: []study.Bin{
		{Mean: 8, Prints: 1000, Defects: 20, Rate: 0.02, RateLow: 0.012, RateHigh: 0.031}, {Mean: 12, Prints: 500, Defects: 20, Rate: 0.04, RateLow: 0.024, RateHigh: 0.061},
	}, Line: []study.Point{{X: 8, Rate: 0.02, Low: 0.015, High: 0.03}, {X: 12, Rate: 0.04, Low: 0.03, High: 0.06}}}
	svg, tables := drawn(t, m, m.Curve("curve", c, ""))
	rows := tables["Counted, with 95 % interval"].Rows
	if len(rows) != 2 || rows[0][2] != "20.0" || rows[1][2] != "40.0" || rows[1][4] != "61.0" {
		t.Errorf("rejects of 1000 prints: %v", rows)
	}
	if !strings.Contains(svg, "20 rejects of 1000 prints") && !strings.Contains(svg, "20 rejects of 1,000 prints") {
		t.Error("a bin does not say what it counts")
	}
}

func TestControl(t *testing.T) {
	m := maker()
	c := study.Chart{Press: "press-1", Centre: 0.02, Points: []study.ChartPoint{
		{From: morning, To: morning.Add(time.Hour), Batch: "0612-1", Prints: 300, Defects: 6, Rate: 0.02, Low: 0, High: 0.05},
		{From: morning.Add(time.Hour), To: morning.Add(2 * time.Hour), Batch: "0612-2", Prints: 300, Defects: 30, Rate: 0.1, Low: 0, High: 0.05, Out: true},
	}}
	svg, _ := drawn(t, m, m.Control(c, morning, morning.Add(4*time.Hour), air("hall", 0, 0.25), []history.Batch{batch("0612-1", "press-1", 0, 1, lifecycle.UsedUp)}))
	if !strings.Contains(svg, "0612-2, 30 rejects of 300 prints, out of the limits") {
		t.Error("the point out of the limits does not say so")
	}
	if !strings.Contains(svg, "1 point is beyond the limits (cross).") {
		t.Error("the chart does not say how many points are beyond the limits")
	}
	within := study.Chart{Press: "press-1", Centre: 0.02, Points: []study.ChartPoint{c.Points[0], c.Points[0]}}
	within.Points[1].From, within.Points[1].To, within.Points[1].High = morning.Add(time.Hour), morning.Add(2*time.Hour), 0.08
	svg, _ = drawn(t, m, m.Control(within, morning, morning.Add(4*time.Hour), nil, nil))
	if !strings.Contains(svg, "the press is in control") || strings.Contains(svg, "above the picture") || !strings.Contains(svg, ">80<") {
		t.Error("a chart in control does not say so, or its limits are cut")
	}
	m.Width = 340
	if svg, _ := drawn(t, m, m.Control(within, morning, morning.Add(4*time.Hour), air("hall", 0, 0.25), []history.Batch{batch("0612-1", "press-1", 0, 1, lifecycle.UsedUp)})); !strings.Contains(svg, ">Relative humidity, %<") || !strings.Contains(svg, ">Batches<") {
		t.Error("on a phone an axis has no label")
	}
	within.Sparse = true
	if svg, _ := drawn(t, m, m.Control(within, morning, morning.Add(4*time.Hour), nil, nil)); !strings.Contains(svg, "too few rejects for the limits") || strings.Contains(svg, "in control") {
		t.Error("limits that cannot judge are told as if they did")
	}
	// Two batches that were printed in turns have spans that overlap. A mark says its text twice,
	// as its name and as its title.
	c.Points = append(c.Points, study.ChartPoint{From: morning.Add(90 * time.Minute), To: morning.Add(105 * time.Minute), Batch: "0612-1", Prints: 10, High: 0.05})
	if svg, _ := drawn(t, m, m.Control(c, morning, morning.Add(4*time.Hour), nil, nil)); strings.Count(svg, "rejects of") != 2*3 {
		t.Error("not every point is drawn")
	}
	// The limit of a point with few prints is wide; it does not press the others together.
	c.Points[2].High = 0.9
	if svg, _ := drawn(t, m, m.Control(c, morning, morning.Add(4*time.Hour), nil, nil)); strings.Contains(svg, ">500<") || !strings.Contains(svg, ">100<") || !strings.Contains(svg, "few prints are above the picture") {
		t.Error("the rates do not end near the highest point")
	}
	empty, _ := drawn(t, m, m.Control(study.Chart{Press: "press-1"}, morning, morning.Add(time.Hour), nil, nil))
	if !strings.Contains(empty, "No prints have been counted") {
		t.Error("a chart without points does not say so")
	}
}

func TestLife(t *testing.T) {
	m := maker()
	mixed, closed := morning, morning.Add(7*time.Hour)
	c := trace.Course{Past: trace.Past{ID: "0612-1", MixedAt: &mixed, ClosedAt: &closed, Outcome: lifecycle.WentOff}}
	for h := range 8 {
		at := morning.Add(time.Duration(h) * time.Hour)
		c.Moments = append(c.Moments, trace.Moment{At: at, Spent: float64(h) / 7, Risk: float64(h*h) / 98})
		c.Forecasts = append(c.Forecasts, trace.Forecast{At: at, Low: morning.Add(6 * time.Hour), Expected: closed, High: morning.Add(9 * time.Hour)})
	}
	svg, tables := drawn(t, m, m.Life(c))
	if !strings.Contains(svg, "Gone off") || len(tables["Pot life spent"].Rows) != 8 {
		t.Errorf("end or spent life are missing: %v", tables)
	}
	none, _ := drawn(t, m, m.Life(trace.Course{Past: trace.Past{ID: "0612-2"}}))
	if !strings.Contains(none, "no hardener yet") {
		t.Error("a batch without hardener does not say so")
	}
}

func TestChecks(t *testing.T) {
	m := maker()
	off := 3.4
	svg, _ := drawn(t, m, m.Checks(morning, morning.Add(time.Hour), []history.Check{{Time: morning, Sensor: "bench-air", OffPct: &off, AllowedPct: 3}, {Time: morning, Sensor: "other"}}))
	if !strings.Contains(svg, "failed") {
		t.Error("the failed check does not say so")
	}
}

func TestForecasted(t *testing.T) {
	risk := 0.3
	judged := func(o lifecycle.Outcome, good lifecycle.StillGood, atLeast bool) history.Batch {
		return history.Batch{Outcome: o, StillGood: good, AtLeast: atLeast, Risk: &risk}
	}
	got := Forecasted([]history.Batch{
		judged(lifecycle.WentOff, "", false), judged(lifecycle.UsedUp, lifecycle.GoodYes, false), judged(lifecycle.UsedUp, "unknown", false),
		judged(lifecycle.WentOff, "", true), {Outcome: lifecycle.WentOff},
	})
	if len(got) != 2 || !got[0].Gone || got[1].Gone {
		t.Errorf("%+v", got)
	}
	m := maker()
	if svg, _ := drawn(t, m, m.Kept(quality.NewKept(got))); !strings.Contains(svg, "Came true") {
		t.Error("the line is missing")
	}
	if about := m.Kept(quality.NewKept(got)).About; !strings.Contains(about, "gone off so far: 1. From 10 on") {
		t.Errorf("one batch that went off: %s", about)
	}
	var many []quality.Forecasted
	for i := range 20 { // one in each twentieth of risk: 16 of 20 lie between 10 and 90 %
		many = append(many, quality.Forecasted{Risk: (float64(i) + 0.5) / 20, Gone: true})
	}
	if about := m.Kept(quality.NewKept(many)).About; !strings.HasPrefix(about, "80\u00a0% of the batches") || !strings.Contains(about, "from 20 that went off); 80\u00a0% is promised.") {
		t.Errorf("twenty batches that went off evenly: %s", about)
	}
}
