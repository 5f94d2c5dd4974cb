package study

import (
	"math"
	"time"

	"potlifed/model/quality"
)

// ChartRequest is what a control chart is asked.
type ChartRequest struct {
	From, To time.Time // To is not included; zero for no limit
	Press    string
	Kind     string // of the rejects; empty for all kinds together
	By       Grouping
	Runs     bool // judge runs rules
}

// Grouping says what one point of a control chart counts.
type Grouping string

// The groupings. A point never counts two batches, but for ByDay.
const (
	ByHour  Grouping = "hour"
	ByBatch Grouping = "batch"
	ByDay   Grouping = "day"
	// Automatic is the finest of them with at least fewestExpected rejects a point on average, and not more than
	// mostPoints.
	Automatic Grouping = ""
)

// fewestExpected is how many rejects a point needs on average for limits at 3 standard
// deviations to be near their level (common practice, no source).
const fewestExpected = 5

// mostPoints is how many points of a chart can be told apart: a year of days.
const mostPoints = 366

// Chart is the control chart of a press.
type Chart struct {
	Press  string            `json:"press" doc:"id of the press"`
	Kind   string            `json:"kind" doc:"id of the kind of defect; all is all kinds together"`
	By     Grouping          `json:"by" enum:"hour,batch,day" doc:"what a point counts: the prints of an hour with one batch, of a batch, or of a day"`
	Type   quality.ChartKind `json:"type" enum:"p,u" doc:"p: share of the prints that were rejected; u: rejects for each print, where a print may have several"`
	Centre float64           `json:"centre" doc:"centre line: rejects for each print over all points"`
	Laney  bool              `json:"laney" doc:"the points scatter more than chance makes them, and the limits are widened by sigma_z (Laney's p' or u' chart)"`
	SigmaZ float64           `json:"sigma_z" doc:"factor of the limits; 1 without Laney's correction"`
	Sparse bool              `json:"sparse" doc:"there is less than one reject a point on average: the limits cannot judge the points"`
	Points []ChartPoint      `json:"points" doc:"the points, in the order of time; empty without prints"`
}

// ChartPoint is a point of a control chart, with what was printed with and in.
type ChartPoint struct {
	From          time.Time      `json:"from" doc:"begin of the first quarter of an hour"`
	To            time.Time      `json:"to" doc:"end of the last quarter of an hour"`
	Batch         string         `json:"batch,omitempty" doc:"id of the batch; absent when none is known, or for a day"`
	Prints        float64        `json:"prints" doc:"number of prints"`
	Defects       float64        `json:"defects" doc:"number of rejects"`
	Rate          float64        `json:"rate" doc:"rejects for each print"`
	Low           float64        `json:"low" doc:"lower control limit"`
	High          float64        `json:"high" doc:"upper control limit"`
	Z             float64        `json:"z" doc:"distance from the centre line in standard deviations"`
	Out           bool           `json:"out" doc:"beyond a control limit"`
	Rules         []quality.Rule `json:"rules" enum:"nine-on-one-side,six-in-one-direction,fourteen-in-turn,two-of-three-far,four-of-five-off,fifteen-near,eight-away" doc:"runs rules whose run ends here"`
	VapourDensity *float64       `json:"vapour_density_g_m3,omitempty" doc:"water vapour at the press in g/m³, mean by prints"`
	HumidityPct   *float64       `json:"humidity_pct,omitempty" doc:"relative humidity there in %, mean by prints"`
	TemperatureC  *float64       `json:"temperature_c,omitempty" doc:"air temperature there in °C, mean by prints"`
	Spent         *float64       `json:"spent,omitempty" doc:"share of the batch's pot life that was used up, mean by prints; absent for a day"`
}

// Chart returns the control chart of what the table holds of a press and a kind of rejects. Days are those of the
// zone.
func (t *Table) Chart(q ChartRequest, zone *time.Location) Chart {
	rows := t.charted(q)
	by, groups := q.By, []*group(nil)
	if by == Automatic {
		by, groups = finest(rows, zone)
	} else {
		groups, _ = grouped(rows, by, zone, len(rows))
	}
	c := Chart{Press: q.Press, Kind: q.Kind, By: by, Type: quality.PChart, SigmaZ: 1, Points: []ChartPoint{}}
	if q.Kind == "" {
		c.Kind = All
	}
	var counted []quality.Subgroup
	for _, g := range groups {
		counted = append(counted, quality.Subgroup{Count: g.defects, Size: g.prints})
		if g.defects > g.prints {
			c.Type = quality.UChart
		}
	}
	chart, err := quality.NewChart(c.Type, counted, q.Runs)
	if err != nil { // there are no prints
		return c
	}
	c.Centre, c.Laney, c.SigmaZ, c.Sparse = figure(chart.Centre), chart.Laney, figure(chart.SigmaZ), chart.Sparse
	for i, p := range chart.Points {
		point := groups[i].point()
		point.Rate, point.Low, point.High, point.Z, point.Out = figure(p.Value), figure(p.Low), figure(p.High), figure(p.Z), p.Out
		point.Rules = append([]quality.Rule{}, p.Rules...)
		if by == ByDay {
			point.Batch, point.Spent = "", nil
		}
		c.Points = append(c.Points, point)
	}
	return c
}

// charted is a row with the rejects that a chart counts.
type charted struct {
	*row
	counted float64
}

// charted returns the rows of a press that have prints, with the rejects of one kind where one is asked for.
func (t *Table) charted(q ChartRequest) []charted {
	kind, known := t.kinds[q.Kind]
	var list []charted
	all := t.rows()
	for i := range all {
		r := &all[i]
		if r.prints <= 0 || q.Press != "" && r.press != q.Press {
			continue
		}
		c := charted{row: r}
		switch {
		case known:
			c.counted = r.defects[kind]
		case q.Kind == "":
			for _, n := range r.defects {
				c.counted += n
			}
		}
		list = append(list, c)
	}
	return list
}

// finest returns the finest grouping whose points have enough rejects and are not too many, and its groups.
func finest(rows []charted, zone *time.Location) (Grouping, []*group) {
	for _, by := range []Grouping{ByHour, ByBatch} {
		groups, all := grouped(rows, by, zone, mostPoints)
		defects := 0.0
		for _, g := range groups {
			defects += g.defects
		}
		if all && defects >= fewestExpected*float64(len(groups)) && len(groups) > 0 {
			return by, groups
		}
	}
	groups, _ := grouped(rows, ByDay, zone, len(rows))
	return ByDay, groups
}

// group is what one point counts.
type group struct {
	from, to        time.Time
	batch           string
	prints, defects float64
	sums, known     quality.Conditions
}

// groupOf is what the rows of a group have in common.
type groupOf struct {
	number int    // of the lot; -1 for a day
	when   int    // as in [row.when]; 0 for a day
	part   int64  // the hour since 1970; 0 for a batch and for a day
	day    string // empty but for a day
}

// grouped adds up rows, in the order of their first ones. It stops where there are more than most groups; all is
// then false.
func grouped(rows []charted, by Grouping, zone *time.Location, most int) (list []*group, all bool) {
	at := map[groupOf]*group{}
	days := dayNames{zone: zone}
	for i := range rows {
		r := rows[i]
		key := groupOf{number: r.number, when: r.when()}
		switch {
		case by == ByHour:
			key.part = floorDiv(r.quarter, 4)
		case by == ByDay || r.batch == "":
			key = groupOf{number: -1, day: days.of(r.at)}
		}
		g := at[key]
		if g == nil {
			if len(list) == most {
				return list, false
			}
			g = &group{from: r.at, batch: r.batch}
			at[key] = g
			list = append(list, g)
		}
		g.to = r.at.Add(quarter)
		g.prints += r.prints
		g.defects += r.counted
		for f, x := range r.Conditions {
			if !math.IsNaN(x) {
				g.sums[f] += x * r.prints
				g.known[f] += r.prints
			}
		}
	}
	return list, true
}

func (g *group) point() ChartPoint {
	mean := func(f quality.Factor) *float64 { return known(g.sums[f] / g.known[f]) }
	return ChartPoint{
		From: g.from, To: g.to, Batch: g.batch, Prints: g.prints, Defects: g.defects,
		VapourDensity: mean(quality.VapourDensity), HumidityPct: mean(quality.RelativeHumidity),
		TemperatureC: mean(quality.Temperature), Spent: mean(quality.SpentLife),
	}
}
