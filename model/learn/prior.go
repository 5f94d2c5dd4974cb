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
func (p *prior) why(r *Record) string {
	to := r.To.spending(p.centre)
	if math.IsNaN(to.v) || math.IsInf(to.v, 0) {
		return "it has not lived any time"
	}
	if !(r.Weighing >= 0 && r.Weighing < 1) {
		return fmt.Sprintf("the ratio's error %v is outside 0 to 1", r.Weighing)
	}
	if r.Kind == Between && len(r.From.heat) > 0 && !(r.From.spending(p.centre).v < to.v) {
		return "it was looked at last after its end"
	}
	return ""
}
