package mix

import (
	"cmp"
	"math"
	"slices"
)

// Limits are the limits that a finished mix must keep.
type Limits struct {
	Ratio         Ratio
	TolerancePct  float64 // of the ratio
	ThinnerPct    float64 // aimed at, of ink and hardener together
	ThinnerMinPct float64
	ThinnerMaxPct float64
	DivisionG     float64 // of the scale
	CupMaximumG   float64 // finished mix, thinner included; 0 for no limit
}

// ThinnerInRange reports whether the poured thinner is within its range.
//
// A difference of one division of the scale is accepted: nobody can pour more exactly than the
// scale shows.
func (l Limits) ThinnerInRange(a Amounts) bool {
	pct, slack := a.ThinnerPct(), 100*rounding
	if a.CatalysedG() > 0 {
		slack += 100 * l.DivisionG / a.CatalysedG()
	}
	return pct >= l.ThinnerMinPct-slack && pct <= l.ThinnerMaxPct+slack
}

// The aims of a correction.
const (
	ToExact     = "exact"     // the recipe itself
	ToTolerance = "tolerance" // the least that is inside the tolerance by one division
)

// Addition is what a correction adds. Parts that are not added are zero.
type Addition struct {
	InkG      float64 `json:"ink_g,omitempty" doc:"ink to add in g"`
	HardenerG float64 `json:"hardener_g,omitempty" doc:"hardener to add in g"`
	ThinnerG  float64 `json:"thinner_g,omitempty" doc:"thinner to add in g"`
}

// TotalG returns the mass of all that is added, in g.
func (a Addition) TotalG() float64 { return a.InkG + a.HardenerG + a.ThinnerG }

// First returns the part to pour first and its mass in g: ink before hardener before thinner.
func (a Addition) First() (Part, float64) {
	switch {
	case a.InkG > 0:
		return Ink, a.InkG
	case a.HardenerG > 0:
		return Hardener, a.HardenerG
	}
	return Thinner, a.ThinnerG
}

// Correction is one way to correct a wrong pour.
type Correction struct {
	Add      Addition `json:"add" doc:"what to add"`
	ThinnerG float64  `json:"thinner_g" doc:"thinner to aim at afterwards, in g"`
	TotalG   float64  `json:"total_g" doc:"mass of the mix afterwards, in g"`
	To       string   `json:"to" doc:"what the correction reaches: exact (the recipe itself) or tolerance (the nearest ratio inside the tolerance)"`
	// OffPct is how far the hardener is then from what the ink needs: a correction to the tolerance
	// ends within it, not at the recipe's ratio.
	OffPct float64 `json:"off_pct,omitempty" doc:"deviation of the hardener from its target in % afterwards; above 0 is too much; absent for 0"`
}

// RatioCorrections returns the ways to bring ink and hardener back into ratio: more ink after
// too much hardener, more hardener after too little. The one with the smallest mass is first.
// None of them overfills the cup. The list is empty when the ratio is in tolerance, and also
// when a wrong ratio cannot be corrected in this cup.
func RatioCorrections(poured Amounts, l Limits) []Correction {
	if InTolerance(poured, l.Ratio, l.TolerancePct) {
		return nil
	}
	var part Part
	var exact, least float64
	ratio, tolerance := float64(l.Ratio), l.TolerancePct/100
	if asked := poured.HardenerG * ratio; asked > poured.InkG {
		part = Ink
		exact = asked - poured.InkG
		least = asked/(1+tolerance) - poured.InkG + l.DivisionG
	} else {
		part = Hardener
		exact = poured.InkG/ratio - poured.HardenerG
		least = (1-tolerance)*poured.InkG/ratio - poured.HardenerG + l.DivisionG
	}
	return l.fitting(poured, l.ThinnerPct,
		aim{Addition(Amounts{}.Plus(part, least)), ToTolerance},
		aim{Addition(Amounts{}.Plus(part, exact)), ToExact})
}

// ThinnerCorrections returns the ways to bring the thinner into its range: more thinner, or more
// ink and hardener in ratio. Ink alone would change the ratio. Order and limits are those of
// [RatioCorrections].
func ThinnerCorrections(poured Amounts, l Limits) []Correction {
	if l.ThinnerInRange(poured) {
		return nil
	}
	catalysed := poured.CatalysedG()
	if poured.ThinnerPct() < l.ThinnerMinPct {
		least := l.ThinnerMinPct/100*catalysed - poured.ThinnerG + l.DivisionG
		exact := l.ThinnerPct/100*catalysed - poured.ThinnerG
		return l.fitting(poured, 0,
			aim{Addition{ThinnerG: least}, ToTolerance}, aim{Addition{ThinnerG: exact}, ToExact})
	}
	if l.ThinnerMaxPct <= 0 {
		return nil // no amount of ink removes thinner
	}
	aims := []aim{{l.inRatio(100*poured.ThinnerG/l.ThinnerMaxPct - catalysed + l.DivisionG), ToTolerance}}
	if l.ThinnerPct > 0 {
		aims = append(aims, aim{l.inRatio(100*poured.ThinnerG/l.ThinnerPct - catalysed), ToExact})
	}
	return l.fitting(poured, 0, aims...)
}

// Corrections returns the ways to correct a pour. It corrects the ratio first. Once the ratio is
// right it corrects the thinner, if any was poured.
func Corrections(poured Amounts, l Limits) []Correction {
	if !InTolerance(poured, l.Ratio, l.TolerancePct) {
		return RatioCorrections(poured, l)
	}
	if poured.ThinnerG > 0 {
		return ThinnerCorrections(poured, l)
	}
	return nil
}

type aim struct {
	add Addition
	to  string
}

// inRatio divides a mass of ink and hardener into its two parts.
func (l Limits) inRatio(grams float64) Addition {
	ink := grams * float64(l.Ratio) / (1 + float64(l.Ratio))
	return Addition{InkG: ink, HardenerG: grams - ink}
}

// fitting adds to each aim the thinner that belongs to it (or what is in already, if that is
// more) and returns those that fit into the cup. An exact aim that needs no more than the aim at
// the tolerance replaces that one: with a coarse division, the margin of a division may be more
// than the whole tolerance.
func (l Limits) fitting(poured Amounts, thinnerPct float64, aims ...aim) []Correction {
	exact := math.Inf(1)
	for _, a := range aims {
		if a.to == ToExact {
			exact = a.add.TotalG()
		}
	}
	var out []Correction
	for _, a := range aims {
		if a.to == ToTolerance && a.add.TotalG() >= exact {
			continue
		}
		catalysed := poured.CatalysedG() + a.add.InkG + a.add.HardenerG
		thinner := math.Max(poured.ThinnerG+a.add.ThinnerG, thinnerPct/100*catalysed)
		total := catalysed + thinner
		if math.IsNaN(total) || math.IsInf(total, 0) {
			continue // an aim with almost no thinner needs more ink than a float64 can hold
		}
		if l.CupMaximumG > 0 && total > l.CupMaximumG*(1+rounding) {
			continue
		}
		c := Correction{Add: a.add, ThinnerG: thinner, TotalG: total, To: a.to}
		if off := 100 * Deviation(Amounts{InkG: poured.InkG + a.add.InkG, HardenerG: poured.HardenerG + a.add.HardenerG}, l.Ratio); math.Abs(off) > 100*rounding && !math.IsInf(off, 0) {
			c.OffPct = off
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b Correction) int { return cmp.Compare(a.Add.TotalG(), b.Add.TotalG()) })
	return out
}
