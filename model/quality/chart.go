package quality

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// ChartKind is what a control chart counts.
type ChartKind string

// The kinds of chart.
const (
	PChart ChartKind = "p" // prints with a defect, as a share of the prints
	UChart ChartKind = "u" // defects for each print, of which a print may have several
)

// Subgroup is what one point of a control chart counts.
type Subgroup struct {
	Count, Size float64
}

// Chart is a control chart with limits that follow the size of each subgroup.
type Chart struct {
	Kind   ChartKind
	Centre float64
	// SigmaZ widens the limits: Laney's factor where the points scatter more than chance makes
	// them, else 1.
	SigmaZ float64
	Laney  bool
	// Sparse: fewer than one defect is expected in most subgroups, so the limits cannot judge
	// them. Larger subgroups can.
	Sparse bool
	Points []ChartPoint
}

// ChartPoint is a subgroup on the chart.
type ChartPoint struct {
	Value     float64
	Low, High float64 // control limits, at 3 standard deviations
	Z         float64 // distance from the centre in standard deviations
	Out       bool    // beyond a limit
	Rules     []Rule  // runs rules that end here
}

// errNoSubgroups means that no subgroup has any prints.
var errNoSubgroups = errors.New("no prints")

// overdispersedP is the p value of the points' scatter being chance, below which Laney's
// factor is used.
const overdispersedP = 0.05

// NewChart returns the control chart of subgroups in the order of time. Each must have prints.
// With runs, runs rules are judged too. The error says that there are none.
//
// Limits are those of the NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3, with
// the size of each subgroup. Where chi-square of the points says that they scatter more than
// chance makes them, limits are widened by the mean moving range of the standardised points
// divided by 1.128: Laney, Quality Engineering 14 (2002) 531. The factor is never below 1.
func NewChart(kind ChartKind, groups []Subgroup, runs bool) (Chart, error) {
	c := Chart{Kind: kind, SigmaZ: 1}
	count, size := 0.0, 0.0
	for _, g := range groups {
		count += g.Count
		size += g.Size
	}
	if size <= 0 {
		return c, errNoSubgroups
	}
	c.Centre = count / size
	c.Sparse = count < float64(len(groups))
	variance := c.Centre
	if kind == PChart {
		variance *= 1 - c.Centre
	}
	z := make([]float64, len(groups))
	for i, g := range groups {
		if sigma := math.Sqrt(variance / g.Size); sigma > 0 {
			z[i] = (g.Count/g.Size - c.Centre) / sigma
		}
	}
	c.disperse(z)
	for i, g := range groups {
		half := 3 * c.SigmaZ * math.Sqrt(variance/g.Size)
		p := ChartPoint{Value: g.Count / g.Size, Low: max(0, c.Centre-half), High: c.Centre + half, Z: z[i] / c.SigmaZ}
		if kind == PChart {
			p.High = min(1, p.High)
		}
		p.Out = p.Value > p.High || p.Value < p.Low
		c.Points = append(c.Points, p)
	}
	if runs {
		c.judgeRuns()
	}
	return c, nil
}

// disperse sets Laney's factor where the standardised points need it.
func (c *Chart) disperse(z []float64) {
	if len(z) < 2 {
		return
	}
	square, moving := 0.0, 0.0
	for i, v := range z {
		square += v * v
		if i > 0 {
			moving += math.Abs(v-z[i-1]) / float64(len(z)-1)
		}
	}
	chance := 1 - distuv.ChiSquared{K: float64(len(z) - 1)}.CDF(square)
	// 1.128 is the mean range of two values of a normal distribution: 2/√π.
	if factor := moving * math.Sqrt(math.Pi) / 2; chance < overdispersedP && factor > 1 {
		c.SigmaZ, c.Laney = factor, true
	}
}
