package quality

import (
	"errors"
	"maps"
	"math"
	"slices"
)

// Reason says why there is no estimate.
type Reason string

// The reasons.
const (
	NoPrints   Reason = "no-prints"   // no prints with this condition known
	NoDefects  Reason = "no-defects"  // no defect of the kind
	NoChange   Reason = "no-change"   // the condition hardly changed
	OneSided   Reason = "one-sided"   // all defects at one end: the effect has no limit
	Undecided  Reason = "undecided"   // the condition cannot be told from another one
	NotFitted  Reason = "not-fitted"  // the fit did not converge
	FewDefects Reason = "few-defects" // fewer than fewestEvents
	FewPrints  Reason = "few-prints"  // no more cells than the fit has coefficients
)

// fewestEvents is how many defects an effect needs: with fewer the intervals do not hold.
const fewestEvents = 10

// Effect is how the rate of a kind of defect goes together with a factor.
type Effect struct {
	Kind   string // empty for all kinds together
	Factor Factor
	// Ratio is that of the rates when the factor is one step higher; of the odds for
	// [Binomial].
	Ratio    float64
	Interval Interval
	P        float64 // of there being no effect
	Q        float64 // P corrected for looking at several effects
	Found    bool    // Q is below 5 %
	// Swing is the ratio between the highest and the lowest tenth of the prints by the
	// factor, with its interval. Excluded: it is surely smaller than the relevant one.
	Swing         float64
	SwingInterval Interval
	Excluded      bool
	// WeeksMore is about how many more weeks of the same it takes to find a relevant
	// effect with a chance of 80 %, 0 where it would have been found, NaN when unknown.
	WeeksMore float64

	Prints, Defects float64
	Clusters        int
	Method          Method
	Dispersion      float64 // Pearson; 1 when prints scatter as chance alone makes them
	DesignEffect    float64 // square of the ratio of the error to that by the model
	AdjustedFor     []Factor
	// Together are factors that would be adjusted for, or are nearly the same figure, and rose and fell
	// with this one: the effect may as well be theirs.
	Together []Factor
	Reason   Reason // why there is no estimate; empty when there is one

	perUnit, se float64 // on the scale of the link
}

// power is the chance with which a study of the planned length finds a relevant effect.
const power = 0.8

// effect estimates one effect.
func (p *prepared) effect(kind int, f Factor, o Options) Effect {
	e := Effect{Factor: f, WeeksMore: math.NaN()}
	if kind != allKinds {
		e.Kind = p.Kinds[kind]
	}
	ends := p.quantiles(f, 0.1, 0.9)
	swing := ends[1] - ends[0]
	for _, adjust := range [][]Factor{factors[f].adjust, nil} {
		e.AdjustedFor, e.Together = p.separable(f, p.varying(adjust))
		e.Reason = p.estimate(&e, kind, swing, o)
		if e.Reason != Undecided && e.Reason != FewPrints {
			break
		}
	}
	_, twins := p.separable(f, p.varying(factors[f].twin))
	e.Together = append(e.Together, twins...)
	switch {
	case e.Reason == "":
		e.WeeksMore = weeksMore(o, e.se*swing, e.Method)
	case e.Defects > 0 && swing >= factors[f].least:
		// The error that so many defects would give: Signorini, Biometrika 78 (1991) 446.
		sd := swing / (normalQuantile(0.9) - normalQuantile(0.1))
		e.WeeksMore = weeksMore(o, swing/(sd*math.Sqrt(e.Defects)), ByModel)
	}
	return e
}

// varying returns the factors that are known and change enough to adjust for.
func (p *prepared) varying(list []Factor) []Factor {
	return slices.DeleteFunc(slices.Clone(list), func(f Factor) bool {
		ends := p.quantiles(f, 0.02, 0.98)
		return !(ends[1]-ends[0] > factors[f].least/2)
	})
}

// inseparable is the correlation from which on two factors are not told apart: the variance of
// an effect that is adjusted is then more than ten times as large (a variance inflation factor of
// 10: Marquardt, Technometrics 12 (1970) 591).
var inseparable = math.Sqrt(0.9)

// separable splits a list into the factors that can be told from f and those that cannot.
func (p *prepared) separable(f Factor, list []Factor) (told, together []Factor) {
	for _, other := range list {
		if math.Abs(p.correlation(f, other)) > inseparable {
			together = append(together, other)
		} else {
			told = append(told, other)
		}
	}
	return told, together
}

// correlation returns that of two factors over the prints inside strata; 0 when it is not known.
func (p *prepared) correlation(a, b Factor) float64 {
	type moments struct{ n, x, y, xx, yy, xy float64 }
	strata := map[int]moments{}
	for i := range p.Cells {
		c := &p.Cells[i]
		x, y, n := c.Conditions[a], c.Conditions[b], c.Prints.Prints
		if !(n > 0) || math.IsNaN(x) || math.IsNaN(y) {
			continue
		}
		m := strata[p.stratum[i]]
		strata[p.stratum[i]] = moments{m.n + n, m.x + n*x, m.y + n*y, m.xx + n*x*x, m.yy + n*y*y, m.xy + n*x*y}
	}
	xx, yy, xy := 0.0, 0.0, 0.0
	for _, s := range slices.Sorted(maps.Keys(strata)) {
		m := strata[s]
		xx += m.xx - m.x*m.x/m.n
		yy += m.yy - m.y*m.y/m.n
		xy += m.xy - m.x*m.y/m.n
	}
	if !(xx > 0) || !(yy > 0) {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// weeksMore returns how many more weeks it takes to find a relevant swing, from the error of the
// swing in the weeks so far: errors shrink with the root of the time.
func weeksMore(o Options, se float64, method Method) float64 {
	if o.Weeks <= 0 || o.Relevant <= 0 {
		return math.NaN()
	}
	needed := (normalQuantile((1+Level)/2) + normalQuantile(power)) * se / math.Log1p(o.Relevant)
	return max(0, o.Weeks*(needed*needed-1))
}

// estimate fits an effect and returns the reason when that is not possible.
func (p *prepared) estimate(e *Effect, kind int, swing float64, o Options) Reason {
	columns := append([]Factor{e.Factor}, e.AdjustedFor...)
	names := make([]string, len(columns))
	for i, f := range columns {
		names[i] = f.String()
	}
	m := p.model(o.Family, kind, names, func(c *Cell, row []float64) []float64 {
		for _, f := range columns {
			row = append(row, c.Conditions[f])
		}
		return row
	})
	e.Prints, e.Defects = sum(m.Exposure), sum(m.Count)
	switch {
	case e.Prints == 0:
		return NoPrints
	case !(swing >= factors[e.Factor].least):
		return NoChange
	case e.Defects == 0:
		return NoDefects
	case e.Defects < fewestEvents:
		return FewDefects
	}
	fit, err := m.Fit()
	if err != nil {
		return reasonOf(err, e.Factor)
	}
	errs, ok := fit.best()
	switch {
	case fit.DF < 1:
		return FewPrints
	case !ok:
		return Undecided
	}
	e.Clusters, e.Method, e.Dispersion = fit.Clusters, errs.Method, fit.Dispersion
	e.DesignEffect = math.Pow(errs.SE[0]/fit.SE[0], 2)
	e.perUnit, e.se, e.P = fit.Beta[0], errs.SE[0], errs.P(0)
	i := errs.interval(0, Level)
	ratio := func(x, steps float64) float64 { return math.Exp(x * steps) }
	step := e.Factor.Step()
	e.Ratio, e.Interval = ratio(e.perUnit, step), Interval{ratio(i.Low, step), ratio(i.High, step)}
	e.Swing, e.SwingInterval = ratio(e.perUnit, swing), Interval{ratio(i.Low, swing), ratio(i.High, swing)}
	e.Excluded = e.SwingInterval.High < 1+o.Relevant && e.SwingInterval.Low > 1/(1+o.Relevant)
	return ""
}

func reasonOf(err error, f Factor) Reason {
	var alias *aliasedError
	var separated *separatedError
	switch {
	case errors.Is(err, errNoEvents):
		return NoDefects
	case errors.As(err, &alias):
		return Undecided
	case errors.As(err, &separated) && separated.Column == f.String():
		return OneSided
	case errors.As(err, &separated):
		return Undecided
	}
	return NotFitted
}

func sum(values []float64) float64 {
	s := 0.0
	for _, v := range values {
		s += v
	}
	return s
}
