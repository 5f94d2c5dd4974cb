package learn

import (
	"math"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// point is a set of parameters.
type point [parameters]float64

// sheetAir is what an hour in the air of the data sheet's figure is made of: the scale between life there and L_ref.
type sheetAir struct{ one Lived }

func hourIn(a air.State) sheetAir {
	return sheetAir{one: Steady(cure.Place{Exposure: 1}, a, time.Hour)}
}

// spendingIn is ln of what an hour in still air spends, in units of 1/L_ref, at exposure 1.
func spendingIn(a air.State, at point) jet {
	lnHeat := cure.LnHeat(a.TemperatureC)
	k := math.Exp(at[pActivation] * lnHeat)
	moistureOnly := cure.Ink{LRefH: 1, MoistureShare: 1}
	return spending(at, k, lnHeat*k, lnHeat*lnHeat*k, moistureOnly.Rate(a.TemperatureC, a.VapourPressurePa(), 1))
}

// spending is ln of what a batch has spent in units of 1/L_ref: ln [(1-s) H(Ea) + s V]. Not defined (NaN) where heat and moisture add up
// to nothing.
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

// rate is ln of what the batch spends an hour at the instant, in units of 1/L_ref.
func (l *Lived) rate(at point) jet {
	k := math.Exp(at[pActivation] * l.atLnHeat)
	return spending(at, k, l.atLnHeat*k, l.atLnHeat*l.atLnHeat*k, l.atMoisture)
}

// logLikelihood is ln of the probability, or for an end that was seen the density per hour, of a record at a set of parameters.
func (r *Record) logLikelihood(at point, sheet *sheetAir) jet {
	lnSigma := variable(pLnSigma, at[pLnSigma])
	if r.Weighing > 0 {
		// sigma² grows by the ratio's error: ½ ln(sigma² + w²) and its derivatives by ln sigma.
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
	// ln D and ln r hold the same ln L_ref, which goes away between them.
	rate := r.To.rate(at)
	density := zTo.times(&zTo)
	density = density.through(-0.5*density.v-lnRoot2Pi, -0.5, 0)
	density = density.plus(-1, &lnSigma)
	density = density.plus(-1, &to)
	return density.plus(1, &rate)
}

// lnBetween is ln(Phi(b) - Phi(a)), a < b, taken from the nearer tail.
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

// sum adds up the records. A set of parameters that cannot be gives NaN.
func sum(records []Record, at point, sheet *sheetAir) jet {
	var total jet
	for i := range records {
		one := records[i].logLikelihood(at, sheet)
		total = total.plus(1, &one)
	}
	return total
}
