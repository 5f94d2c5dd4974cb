package learn

import (
	"math"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// fewestEnds is the number of ends, those of jars included, below which no parameter counts as learned, whatever the
// curvature is.
const fewestEnds = 3

// vagueLn is the largest standard error of a logarithm that is reported.
const vagueLn = 20.0

// conclude returns the result of a solution.
func (f *fitting) conclude(s solution) {
	r := &f.result
	r.Undetermined = s.nothing
	r.covariance = s.covariance
	if r.PriorNone || len(f.free) == 0 {
		r.LogLikelihood = sum(f.used, s.at, &f.prior.sheet).v
	}
	r.LifeRatio = f.ofLogarithm(s.at[pLife]-f.prior.centre[pLife], variable(pLife, s.at[pLife]), s)
	lnLRef := f.prior.lnLRef(s.at)
	r.LRefH = f.ofLogarithm(lnLRef.v, lnLRef, s)
	if !isFinite(r.LRefH.Value) || !isFinite(r.LifeRatio.Value) || !isFinite(r.LogLikelihood) || r.LRefH.Value == 0 {
		f.beyond()
		return
	}
	r.MoistureShare = f.plainly(pShare, s, func(x float64) float64 { return x })
	r.ActivationKJPerMol = f.plainly(pActivation, s, func(x float64) float64 { return x })
	r.Sigma = f.plainly(pLnSigma, s, math.Exp)
	if r.Sigma.SE != nil {
		*r.Sigma.SE *= r.Sigma.Value
	}
	learned := cure.Ink{
		LRefH: r.LRefH.Value, MoistureShare: r.MoistureShare.Value, ActivationKJPerMol: r.ActivationKJPerMol.Value,
		AtTemperatureC: f.pair.Sheet.AtTemperatureC, AtHumidityPct: f.pair.Sheet.AtHumidityPct,
		LifeLnSpread: math.Sqrt(s.covariance[pLife][pLife]), MoistureSpread: math.Sqrt(s.covariance[pShare][pShare]),
		ActivationSpread: math.Sqrt(s.covariance[pActivation][pActivation]),
		Sigma:            r.Sigma.Value, SigmaLnSpread: math.Sqrt(s.covariance[pLnSigma][pLnSigma]), SigmaLearned: r.Sigma.Learned,
	}
	learned.Sigma = min(max(learned.Sigma, cure.MinLearnedSigma), cure.MaxLearnedSigma)
	if !learned.SigmaLearned {
		// There are too few ends to move sigma outside its prior limits.
		learned.Sigma = min(max(learned.Sigma, cure.MinSigma), cure.MaxSigma)
	}
	r.LongerThanSheet = longerSomewhere(learned, f.pair.Sheet)
	if !r.PriorNone {
		r.Posterior = notWider(f.turned(learned, s), f.pair.Sheet, f.before(pLife, s.at))
		if r.Posterior.Valid() != nil {
			f.beyond()
		}
	}
}

// beyond makes the result one of records that no ink can have left.
func (f *fitting) beyond() {
	r := f.result
	f.result = Result{Ink: r.Ink, Hardener: r.Hardener, Sheet: r.Sheet, Assumed: r.Assumed, Ends: r.Ends, Censored: r.Censored,
		Jars: r.Jars, LeftOut: r.LeftOut, PriorNone: r.PriorNone, Fault: "the most likely life is beyond all bounds"}
}

// ofLogarithm returns the estimate of exp(value), where value depends on the parameters as the
// jet does.
func (f *fitting) ofLogarithm(value float64, moves jet, s solution) Estimate {
	e := Estimate{Value: math.Exp(value)}
	if !s.determined[pLife] {
		return e
	}
	se, before := math.Sqrt(variance(moves, s.covariance)), 0.0
	for p := range parameters {
		before = math.Hypot(before, moves.d[p]*f.before(p, s.at))
	}
	if se > vagueLn {
		return e
	}
	inHours := e.Value * se
	e.SE = &inHours
	e.Interval = &[2]float64{e.Value * math.Exp(-lnSpan(se)), e.Value * math.Exp(lnSpan(se))}
	e.Learned = f.learned(se, before)
	return e
}

// before returns the spread by which the prior holds a parameter at a set of parameters.
func (f *fitting) before(p int, at point) float64 {
	if p == pLife && f.prior.known[p] > 0 && !f.result.PriorNone {
		return f.prior.known[p] * looseness((at[p]-f.prior.centre[p])/f.prior.known[p])
	}
	return f.prior.known[p]
}

// variance returns the variance of a value that depends on the parameters as a jet does.
func variance(moves jet, covariance [parameters][parameters]float64) float64 {
	v := 0.0
	for p := range parameters {
		for q := range parameters {
			v += moves.d[p] * covariance[p][q] * moves.d[q]
		}
	}
	return max(v, 0)
}

// plainly returns the estimate of one parameter, in the form of shape.
func (f *fitting) plainly(p int, s solution, shape func(float64) float64) Estimate {
	e := Estimate{Value: shape(s.at[p])}
	if !s.determined[p] {
		return e
	}
	low, high := priorLow[p], priorHigh[p]
	if f.result.PriorNone {
		low, high = plainLow[p], plainHigh[p]
	}
	se := math.Sqrt(s.covariance[p][p])
	e.SE = &se
	// Where another parameter is at its bound, the centre of this one's distribution is not its most likely value.
	centre := s.at[p] + s.lean[p]
	from := min(s.at[p], cure.TruncatedNormal(0.05, centre, se, low, high))
	to := max(s.at[p], cure.TruncatedNormal(0.95, centre, se, low, high))
	e.Interval = &[2]float64{shape(from), shape(to)}
	e.Learned = f.learned(se, f.prior.known[p])
	return e
}

// learned reports whether the records say at least as much as was known before. With a prior the
// information of both adds up; without one it is that of the records alone.
func (f *fitting) learned(se, before float64) bool {
	if f.result.Ends+f.result.Jars < fewestEnds {
		return false
	}
	if f.result.PriorNone {
		return se <= before
	}
	return se*math.Sqrt2 <= before
}

// turned moves the air in which the life is known to the air in which it is known best, within
// the temperatures of the batches. A cure.Ink stores its spreads as independent, and in that air
// life, activation energy and moisture share nearly are. A shop at 27 °C with covered cups
// learns the life there; what it does not know of the other parameters must not widen that.
func (f *fitting) turned(learned cure.Ink, s solution) cure.Ink {
	low, high := learned.AtTemperatureC, learned.AtTemperatureC
	for i := range f.used {
		low, high = min(low, f.used[i].To.coolestC), max(high, f.used[i].To.warmestC)
	}
	lnLRef := f.prior.lnLRef(s.at)
	best := learned.LifeLnSpread * learned.LifeLnSpread
	const warmer, wetter = 32, 20
	for k := range warmer + 1 {
		for l := range wetter {
			a := air.State{TemperatureC: low + (high-low)*float64(k)/warmer, HumidityPct: 100 * float64(l+1) / wetter}
			spent := spendingIn(a, s.at)
			if v := variance(lnLRef.plus(-1, &spent), s.covariance); v < best {
				best = v
				learned.AtTemperatureC, learned.AtHumidityPct, learned.LifeLnSpread = a.TemperatureC, a.HumidityPct, math.Sqrt(v)
			}
		}
	}
	return learned
}

// notWider limits the spreads to those of the prior: the curvature of a likelihood that is not
// quite convex must not widen them. life is the spread of the life.
func notWider(learned, sheet cure.Ink, life float64) cure.Ink {
	learned.LifeLnSpread = min(learned.LifeLnSpread, life)
	learned.MoistureSpread = min(learned.MoistureSpread, sheet.MoistureSpread)
	learned.ActivationSpread = min(learned.ActivationSpread, sheet.ActivationSpread)
	learned.SigmaLnSpread = min(learned.SigmaLnSpread, sheet.SigmaLnSpread)
	return learned
}

// longerSomewhere reports whether an ink lives longer than the data sheet says, at the
// temperature of the sheet and anywhere between its dry and its humid end.
func longerSomewhere(learned, sheet cure.Ink) bool { return excess(learned, sheet) > 1+1e-9 }

// excess returns the largest ratio of an ink's life to that of the data sheet, at the temperature of the sheet and
// anywhere between its dry and its humid end.
func excess(learned, sheet cure.Ink) (most float64) {
	for _, humidity := range []float64{cure.DefaultDryPct, cure.ReferenceHumidityPct, cure.DefaultHumidPct} {
		a := air.State{TemperatureC: sheet.AtTemperatureC, HumidityPct: humidity}
		place := cure.Place{Exposure: 1}
		most = max(most, cure.StillAir(learned, place, a).LifeH/cure.StillAir(sheet, place, a).LifeH)
	}
	return most
}

// notLonger shortens the life of an ink until it is nowhere longer than the data sheet says.
func notLonger(learned, sheet cure.Ink) cure.Ink {
	learned.LRefH /= max(excess(learned, sheet), 1)
	return learned
}
