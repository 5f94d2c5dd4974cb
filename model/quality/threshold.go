package quality

import (
	"math"
)

// Threshold says from which vapour density on there are more defects.
type Threshold struct {
	Kind string // empty for all kinds together
	// Told: below At the rate is level, above it rises, and the data exclude that it rises over
	// the whole range. Interval is where At may be; it is the profile interval. Its High is +Inf
	// when the data do not exclude the most humid place that was tried.
	Told     bool
	At       float64
	Interval Interval
	// Dry is the vapour density below which the driest tenth of the prints was made. RelevantAt
	// is from where on the rate is higher than there by the relevant increase, by the straight
	// line through all prints; NaN when it is beyond the range of the prints. The interval's
	// High may be +Inf.
	Dry              float64
	RelevantAt       float64
	RelevantInterval Interval
	// CoolC and WarmC are the temperatures in °C between which the middle eight tenths of the prints were
	// made; NaN where none is known. A vapour density is another relative humidity at each.
	CoolC, WarmC float64
}

// thresholdSteps is how many places are tried for a threshold.
const thresholdSteps = 40

// profiled is the relative change of the deviance at which the fit of a place ends: a deviance of a million is
// then known to a thousandth.
const profiled = 1e-9

// threshold looks for the vapour density from which on the rate rises. The model is a broken
// line: level up to the threshold, then rising on the scale of ratios. For each place on a grid
// the other parameters are fitted; the interval has the places whose deviance is within the
// quantile of the best one, after division by the design effect of the slope. The first place is
// the lowest vapour density: there is no threshold. When the interval reaches it, none is told.
func (p *prepared) threshold(kind int, o Options) Threshold {
	e := p.effect(kind, VapourDensity, o)
	ends := p.quantiles(VapourDensity, 0, 0.1, 0.9, 1)
	usual := p.quantiles(Temperature, 0.1, 0.9)
	t := Threshold{Kind: e.Kind, Dry: ends[1], At: math.NaN(), RelevantAt: math.NaN(), CoolC: usual[0], WarmC: usual[1]}
	if e.Reason != "" {
		return t
	}
	t.relevant(e, ends, o)
	var places, deviances []float64 // less what all places have in common
	best := 0
	var last *working
	m, vapour := p.unbroken(kind, e.AdjustedFor, o)
	for k := range thresholdSteps + 1 {
		place := ends[0] + (ends[2]-ends[0])*float64(k)/thresholdSteps
		for i, x := range vapour { // the model is a regression on what a vapour density is above the place
			m.X[i*len(m.Columns)] = math.Max(0, x-place)
		}
		fit, err := m.settle(last, profiled)
		if err != nil {
			continue
		}
		last = fit
		places, deviances = append(places, place), append(deviances, fit.loss)
		if fit.loss < deviances[best] {
			best = len(places) - 1
		}
	}
	if len(places) < thresholdSteps/2 || places[0] > ends[0] {
		return t
	}
	limit := deviances[best] + p.tolerance(kind, places[best], e, o)
	t.At, t.Interval = places[best], Interval{math.Inf(1), math.Inf(-1)}
	step := places[1] - places[0]
	for i, place := range places {
		if deviances[i] <= limit {
			t.Interval = Interval{min(t.Interval.Low, place-step/2), max(t.Interval.High, place+step/2)}
		}
	}
	if deviances[len(deviances)-1] <= limit {
		t.Interval.High = math.Inf(1)
	}
	t.Told = deviances[0] > limit
	return t
}

// tolerance returns by how much the deviance may be above the smallest one at a place that the
// interval includes: the quantile times a design effect. To move a place is, nearly, to add a
// step at it: Muggeo, Statistics in Medicine 22 (2003) 3055. The design effect is that of the
// step or, where it is larger, of the slope beside it.
func (p *prepared) tolerance(kind int, place float64, e Effect, o Options) float64 {
	names := []string{"step", VapourDensity.String()}
	for _, f := range e.AdjustedFor {
		names = append(names, f.String())
	}
	fit, err := p.model(o.Family, kind, names, func(c *Cell, row []float64) []float64 {
		x := c.Conditions[VapourDensity] - place
		step := 0.0
		if x > 0 {
			step = 1
		}
		row = append(row, step, math.Max(0, x)) // NaN stays NaN
		for _, f := range e.AdjustedFor {
			row = append(row, c.Conditions[f])
		}
		return row
	}).Fit()
	design := max(1, e.DesignEffect)
	if err == nil { // else the place is at the end of the range
		if errs, ok := fit.best(); ok {
			for column := range 2 {
				design = max(design, math.Pow(errs.SE[column]/fit.SE[column], 2))
			}
		}
	}
	return design * math.Pow(tQuantile((1+Level)/2, max(1, float64(e.Clusters-1))), 2)
}

// unbroken returns the regression on the vapour density, of which only the loss is wanted, and its first column, the
// vapour density, again.
func (p *prepared) unbroken(kind int, adjusted []Factor, o Options) (m Model, vapour []float64) {
	columns := append([]Factor{VapourDensity}, adjusted...)
	names := make([]string, len(columns))
	for i, f := range columns {
		names[i] = f.String()
	}
	m = p.model(o.Family, kind, names, func(c *Cell, row []float64) []float64 {
		for _, f := range columns {
			row = append(row, c.Conditions[f])
		}
		return row
	})
	m.lossOnly = true
	vapour = make([]float64, len(m.Count))
	for i := range vapour {
		vapour[i] = m.X[i*len(columns)]
	}
	return m, vapour
}

// relevant sets from where on the rate is higher by the relevant increase than in the dry tenth.
func (t *Threshold) relevant(e Effect, ends []float64, o Options) {
	step := math.Log1p(o.Relevant)
	half := (math.Log(e.Interval.High) - math.Log(e.Interval.Low)) / (2 * e.Factor.Step())
	at := func(slope float64) float64 {
		if slope <= 0 {
			return math.Inf(1)
		}
		return t.Dry + step/slope
	}
	t.RelevantInterval = Interval{at(e.perUnit + half), at(e.perUnit - half)}
	if x := at(e.perUnit); x <= ends[3] {
		t.RelevantAt = x
	}
}

// curved reports whether a bend of the line improves the fit for all kinds clearly.
func (p *prepared) curved(o Options) bool {
	e := p.effect(allKinds, VapourDensity, o)
	if e.Reason != "" {
		return false
	}
	middle := p.quantiles(VapourDensity, 0.5)[0]
	names := []string{"bend", VapourDensity.String()}
	for _, f := range e.AdjustedFor {
		names = append(names, f.String())
	}
	fit, err := p.model(o.Family, allKinds, names, func(c *Cell, row []float64) []float64 {
		x := c.Conditions[VapourDensity] - middle
		row = append(row, x*x, x)
		for _, f := range e.AdjustedFor {
			row = append(row, c.Conditions[f])
		}
		return row
	}).Fit()
	if err != nil {
		return false
	}
	errs, ok := fit.best()
	return ok && errs.P(0) < bendP
}

// bendP is the p value below which a bend is told.
const bendP = 0.01
