package guide

import (
	"math"

	"potlifed/model/mix"
)

// Verdict is how a pour stands against its target, by its name on the wire.
type Verdict string

// The verdicts.
const (
	Below Verdict = "below" // pour on
	Right Verdict = "right"
	Over  Verdict = "over" // it can be confirmed, and is then corrected
	// FarOver is ink that is confirmed with a reason only; see [TooMuch].
	FarOver Verdict = "too-much"
)

// CureKind is a way to put right what is on the scale, by its name on the wire.
type CureKind string

// The kinds of cure.
const (
	Add       CureKind = "add"
	TakeOut   CureKind = "take-out"
	LargerCup CureKind = "larger-cup"
)

// Cure is a way to put right a pour that is too large, before it is confirmed.
type Cure struct {
	Kind CureKind `json:"kind" doc:"add, take-out or larger-cup"`
	// Part and G are what to add first, or what to take out, in g.
	Part mix.Part `json:"part,omitempty" doc:"what to add first, or what to take out"`
	G    float64  `json:"g,omitempty" doc:"how much of it, in g"`
	// Add is everything to add.
	Add      mix.Addition `json:"add,omitzero" doc:"everything to add; absent for other kinds"`
	ThinnerG float64      `json:"thinner_g,omitempty" doc:"mass of thinner in g that the mix then has"`
	TotalG   float64      `json:"total_g" doc:"mass of the finished mix in g, thinner included"`
	Fits     bool         `json:"fits" doc:"the finished mix fits into the cup"`
	To       string       `json:"to,omitempty" doc:"exact, or tolerance for the least that is within it"`
	OffPct   float64      `json:"off_pct,omitempty" doc:"deviation of the hardener from its target in % afterwards, within the tolerance; above 0 is too much; absent for 0"`
	Cup      string       `json:"cup,omitempty" doc:"id of a kind of cup that is large enough, with larger-cup; absent for other kinds"`
}

// farOver is how many times its target the ink may be before nobody takes it by a single
// confirmation. Half as much again is no slip of the hand: a pour is slow enough to be
// stopped well before. It is rather another cup's target, or a pour that was made twice,
// and it costs as much more hardener and thinner. An assumption, no source.
const farOver = 1.5

// mostInkG returns the largest mass of ink in g that is accepted without a reason: as much as
// leaves room for hardener and thinner in the cup, at most [farOver] times the target, and at
// least the target with the slack of [Recipe.inkSlackG].
func (m Mix) mostInkG() float64 {
	r := m.Recipe
	most := farOver * r.InkTargetG
	if r.CupMaximumG > 0 {
		most = math.Min(most, r.CupMaximumG/mix.Targets(1, r.Ratio, r.ThinnerPct).TotalG())
	}
	return math.Max(most, r.InkTargetG+math.Max(r.DivisionG, r.inkSlackG()))
}

// tooMuch reports whether so many g of a part are more ink than is accepted without a reason.
func (m Mix) tooMuch(part mix.Part, grams float64) bool {
	poured := m.Poured()
	return part == mix.Ink && m.Step == Ink && poured.HardenerG <= 0 &&
		poured.InkG+grams > m.mostInkG()*(1+1e-9)
}

// Judge returns how a pour of so many g stands against the target, and where it is too much, how
// that can be put right before it is confirmed: the cure with the smallest mass first. In steps
// without a pour the verdict is empty.
func (m Mix) Judge(grams float64) (Verdict, []Cure) {
	bar, ok := m.Pouring()
	const rounding = 1e-6
	switch {
	case !ok:
		return "", nil
	case grams < bar.LowG-rounding:
		return Below, nil
	case grams <= bar.HighG+rounding:
		return Right, nil
	case m.tooMuch(bar.Part, grams):
		return FarOver, m.inkCures(grams)
	}
	return Over, m.additions(m.Poured().Plus(bar.Part, grams))
}

// inkCures returns the cures for too much ink that has no hardener yet: it can still be taken
// out.
func (m Mix) inkCures(grams float64) []Cure {
	r, most := m.Recipe, m.mostInkG()
	ink := m.Poured().InkG + grams
	finished := func(ink float64) mix.Amounts { return mix.Targets(ink, r.Ratio, r.ThinnerPct) }
	left := finished(most)
	cures := []Cure{{
		Kind: TakeOut, Part: mix.Ink, G: ink - most, ThinnerG: left.ThinnerG, TotalG: left.TotalG(), Fits: m.fits(left.TotalG()),
	}}
	if whole := finished(ink); !m.fits(whole.TotalG()) {
		cures = append(cures, Cure{Kind: LargerCup, ThinnerG: whole.ThinnerG, TotalG: whole.TotalG(), Fits: true})
	}
	return cures
}

// additions returns what can be added to these masses. Hardener and thinner cannot be taken out
// again. Where nothing fits into the cup, a larger cup is one of the cures.
func (m Mix) additions(in mix.Amounts) []Cure {
	l := m.Recipe.limits()
	l.CupMaximumG = 0
	var cures []Cure
	smallest, anyFits := math.Inf(1), false
	for _, c := range mix.Corrections(in, l) {
		part, g := c.Add.First()
		cures = append(cures, Cure{
			Kind: Add, Part: part, G: g, Add: c.Add, ThinnerG: c.ThinnerG, TotalG: c.TotalG, Fits: m.fits(c.TotalG), To: c.To, OffPct: c.OffPct,
		})
		smallest, anyFits = math.Min(smallest, c.TotalG), anyFits || m.fits(c.TotalG)
	}
	if len(cures) > 0 && !anyFits {
		cures = append(cures, Cure{Kind: LargerCup, TotalG: smallest, Fits: true})
	}
	return cures
}

// fits reports whether a finished mix of so many g fits into the cup.
func (m Mix) fits(totalG float64) bool {
	return m.Recipe.CupMaximumG <= 0 || totalG <= m.Recipe.CupMaximumG+1e-6
}

// tooMuchInk is the error of a confirmation that would take far too much ink. It names the cures.
func (m Mix) tooMuchInk(grams float64) error {
	inCup, target := m.Poured().InkG+grams, m.Recipe.InkTargetG
	var takeOut, finished float64
	for _, c := range m.inkCures(grams) {
		switch c.Kind {
		case TakeOut:
			takeOut = c.G
		case LargerCup:
			finished = c.TotalG
		}
	}
	larger := int(math.Ceil(finished))
	switch {
	case takeOut > 0 && larger > 0:
		return stepError(TooMuch, "too-much-ink-for-cup", "in_cup_g", inCup, "target_g", target, "take_out_g", takeOut, "larger_g", larger)
	case takeOut > 0:
		return stepError(TooMuch, "too-much-ink", "in_cup_g", inCup, "target_g", target, "take_out_g", takeOut)
	case larger > 0:
		return stepError(TooMuch, "too-much-ink-larger-cup", "in_cup_g", inCup, "target_g", target, "larger_g", larger)
	}
	return stepError(TooMuch, "too-much-ink-only", "in_cup_g", inCup, "target_g", target)
}
