package learn

import (
	"math"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// point is a set of parameters.
type point [parameters]float64

// sheetAir holds the terms of an hour in the air of the data sheet's figure. They relate the
// life there to L_ref.
type sheetAir struct{ one Lived }

func hourIn(a air.State) sheetAir {
	return sheetAir{one: Steady(cure.Place{Exposure: 1}, a, time.Hour)}
}

// spendingIn returns ln of what an hour in still air spends, in units of 1/L_ref, at exposure 1.
func spendingIn(a air.State, at point) jet {
	lnHeat := cure.LnHeat(a.TemperatureC)
	k := math.Exp(at[pActivation] * lnHeat)
	moistureOnly := cure.Ink{LRefH: 1, MoistureShare: 1}
	return spending(at, k, lnHeat*k, lnHeat*lnHeat*k, moistureOnly.Rate(a.TemperatureC, a.VapourPressurePa(), 1))
}

// spending returns ln of what a batch has spent, in units of 1/L_ref: ln [(1-s) H(Ea) + s V]. It
// is NaN where heat and moisture together are zero.
func spending(at point, heat, first, second, moistureH float64) jet {
	s := at[pShare]
	g := jet{v: (1-s)*heat + s*moistureH}
	g.d[pShare] = moistureH - heat
	g.d[pActivation] = (1 - s) * first
	g.h[pActivation][pShare] = -first
	g.h[pActivation][pActivation] = (1 - s) * second
	if !(g.v > 0) {
		return jet{v: math.NaN()}
	}
	return g.ln()
}

func (l *Lived) spending(at point) jet {
	heat, first, second := l.heatHours(at[pActivation])
	return spending(at, heat, first, second, l.moistureH)
}

// rate returns ln of what the batch spends per hour at the instant, in units of 1/L_ref.
func (l *Lived) rate(at point) jet {
	k := math.Exp(at[pActivation] * l.atLnHeat)
	return spending(at, k, l.atLnHeat*k, l.atLnHeat*l.atLnHeat*k, l.atMoisture)
}

// logLikelihood returns ln of the probability of a record at a set of parameters. For an end
// that was seen it is the density per hour.
func (r *Record) logLikelihood(at point, sheet *sheetAir) jet {
	lnSigma := variable(pLnSigma, at[pLnSigma])
	if r.Weighing > 0 {
		// The error of the ratio adds to sigma²: ½ ln(sigma² + w²), with its derivatives by ln
		// sigma.
		own := math.Exp(2 * at[pLnSigma])
		q := own / (own + r.Weighing*r.Weighing)
		lnSigma = lnSigma.through(0.5*math.Log(own+r.Weighing*r.Weighing), q, 2*q*(1-q))
	}
	minus := lnSigma.through(-lnSigma.v, -1, 0)
	precision := minus.exp()
	scale := sheet.one.spending(at) // ln L_ref - ln life
	lnLife := variable(pLife, at[pLife])
	lnLRef := lnLife.plus(1, &scale)
	z := func(spent *jet) jet {
		lnDose := spent.plus(-1, &lnLRef)
		return lnDose.times(&precision)
	}
	to := r.To.spending(at)
	zTo := z(&to)
	switch r.Kind {
	case Alive:
		return zTo.lnSurvival()
	case Between:
		if len(r.From.heat) == 0 {
			mirrored := zTo.through(-zTo.v, -1, 0)
			return mirrored.lnSurvival()
		}
		from := r.From.spending(at)
		zFrom := z(&from)
		return lnBetween(&zFrom, &zTo)
	}
	// ln D and ln r hold the same ln L_ref, which cancels.
	rate := r.To.rate(at)
	density := zTo.times(&zTo)
	density = density.through(-0.5*density.v-lnRoot2Pi, -0.5, 0)
	density = density.plus(-1, &lnSigma)
	density = density.plus(-1, &to)
	return density.plus(1, &rate)
}

// lnBetween returns ln(Phi(b) - Phi(a)) for a < b, calculated from the nearer tail.
func lnBetween(a, b *jet) jet {
	near, far := *a, *b
	if b.v < 0 {
		near, far = b.through(-b.v, -1, 0), a.through(-a.v, -1, 0)
	}
	larger, smaller := near.lnSurvival(), far.lnSurvival()
	difference := smaller.plus(-1, &larger)
	rest := difference.lnOneMinusExp()
	return larger.plus(1, &rest)
}

// sum returns the log-likelihood of all records. It is NaN for a set of parameters that is
// impossible.
func sum(records []Record, at point, sheet *sheetAir) jet {
	var total jet
	for i := range records {
		one := records[i].logLikelihood(at, sheet)
		total = total.plus(1, &one)
	}
	return total
}
