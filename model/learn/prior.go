package learn

import (
	"fmt"
	"math"

	"potlifed/model/cure"
)

const (
	// shopShare is the part of the prior uncertainty of an ink that all inks of a shop share:
	// when people there call an ink gone, its sensor, its water. Half is an assumption: it moves
	// an ink with few batches half way to where the others went.
	shopShare = 0.5
	// impossibleBelow is the probability, by all that was known before the first batch, below
	// which a record counts as an error.
	impossibleBelow = 1e-4
	// sigmaPoints represent the spread of sigma when that probability is calculated.
	sigmaPoints = 16
	// loosenedBy controls how the prior's hold on sigma loosens with the number of ends: twice
	// its spread at 10 ends, three times at 20 and more. With a constant hold, a shop whose
	// batches differ twice as much as usual (or half as much) would get, after 20 ends, an 80 %
	// band that holds 70 % (88 %). A loose hold from the start would turn a few ends into noise.
	loosenedBy = 10.0
	mostLoose  = 3.0
)

// bounds are the limits of the parameters in a fit.
var (
	priorLow  = point{math.Inf(-1), cure.MinMoistureShare, cure.MinActivationKJPerMol, math.Log(cure.MinLearnedSigma)}
	priorHigh = point{math.Inf(1), cure.MaxMoistureShare, cure.MaxActivationKJPerMol, math.Log(cure.MaxLearnedSigma)}
)

// prior is what was known about an ink before its batches.
type prior struct {
	centre, known point // the default, with its spreads
	spread        point // the spreads by which a fit holds the parameters at the centre
	sheet         sheetAir
}

func priorOf(ink cure.Ink) prior {
	p := prior{
		centre: point{math.Log(ink.LRefH), ink.MoistureShare, ink.ActivationKJPerMol, math.Log(ink.Sigma)},
		known:  point{ink.LifeLnSpread, ink.MoistureSpread, ink.ActivationSpread, ink.SigmaLnSpread},
		sheet:  hourIn(ink.KnownIn()),
	}
	p.centre[pLife] -= p.sheet.one.spending(p.centre).v
	p.spread = p.known
	return p
}

// loosen sets the hold on sigma by the number of ends that say something about it.
func (p *prior) loosen(ends int) {
	p.spread[pLnSigma] = p.known[pLnSigma] * min(1+float64(ends)/loosenedBy, mostLoose)
}

// lnLRef returns ln L_ref at a set of parameters, with its derivatives.
func (p *prior) lnLRef(at point) jet {
	scale := p.sheet.one.spending(at)
	life := variable(pLife, at[pLife])
	return life.plus(1, &scale)
}

// why returns why a record cannot be used, or an empty string when it can.
func (p *prior) why(r *Record) (why string, impossible bool) {
	to := r.To.spending(p.centre)
	if math.IsNaN(to.v) || math.IsInf(to.v, 0) {
		return "it has not lived any time", false
	}
	if !(r.Weighing >= 0 && r.Weighing < 1) {
		return fmt.Sprintf("the ratio's error %v is outside 0 to 1", r.Weighing), false
	}
	if r.Kind == Between && len(r.From.heat) > 0 && !(r.From.spending(p.centre).v < to.v) {
		return "it was looked at last after its end", false
	}
	lnLRef := p.lnLRef(p.centre)
	ended, alive := p.odds(&to, &lnLRef, r.Weighing)
	tooLate := fmt.Sprintf("good at %.1f times its pot life: less likely than 1 in %.0f; a forgotten cup?", math.Exp(to.v-lnLRef.v), 1/impossibleBelow)
	switch {
	case r.Kind != Alive && ended < impossibleBelow:
		return fmt.Sprintf("over at %.2f of its pot life: less likely than 1 in %.0f", math.Exp(to.v-lnLRef.v), 1/impossibleBelow), true
	case r.Kind != Between && alive < impossibleBelow:
		return tooLate, true
	case r.Kind == Between && len(r.From.heat) > 0:
		from := r.From.spending(p.centre)
		if _, alive := p.odds(&from, &lnLRef, r.Weighing); alive < impossibleBelow {
			return fmt.Sprintf("good at %.1f times its pot life: less likely than 1 in %.0f; a forgotten cup?",
				math.Exp(from.v-lnLRef.v), 1/impossibleBelow), true
		}
	}
	return "", false
}

// odds returns the prior probabilities that a batch is over at a dose, and that it is still
// good. The spreads of the parameters are taken to first order, that of sigma in full.
func (p *prior) odds(spent, lnLRef *jet, weighing float64) (ended, alive float64) {
	lnDose := spent.plus(-1, lnLRef)
	variance := weighing * weighing
	for _, q := range []int{pLife, pShare, pActivation} {
		variance += math.Pow(lnDose.d[q]*p.known[q], 2)
	}
	for k := range sigmaPoints {
		u := (float64(k) + 0.5) / sigmaPoints
		sigma := math.Exp(cure.TruncatedNormal(u, p.centre[pLnSigma], p.known[pLnSigma], math.Log(cure.MinSigma), math.Log(cure.MaxSigma)))
		x := lnDose.v / math.Sqrt(sigma*sigma+variance)
		above, _, _ := lnSurvival(x)
		below, _, _ := lnSurvival(-x)
		alive += math.Exp(above) / sigmaPoints
		ended += math.Exp(below) / sigmaPoints
	}
	return ended, alive
}
