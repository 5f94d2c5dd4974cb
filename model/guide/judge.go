package guide

import (
	"math"

	"potlifed/model/message"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// Targets returns the target masses in g. They follow what was really poured: the target of the
// hardener follows the ink, that of the thinner follows both. Until ink is in, they are those of
// the recipe.
func (m Mix) Targets() mix.Amounts {
	poured, r := m.Poured(), m.Recipe
	ink := poured.InkG
	if ink <= 0 || m.Step == Ink && poured.HardenerG <= 0 {
		ink = math.Max(ink, r.InkTargetG)
	}
	t := mix.Targets(ink, r.Ratio, r.ThinnerPct)
	if poured.HardenerG > 0 && !m.ratioOff(poured) {
		t.ThinnerG = r.ThinnerPct / 100 * (ink + poured.HardenerG)
	}
	return t
}

// Corrections returns the ways to correct what was poured, the one with the smallest mass first.
// The list is empty when nothing is wrong, and when no correction fits into the cup; [Mix.Stuck]
// distinguishes these.
func (m Mix) Corrections() []mix.Correction {
	return m.corrections(m.Recipe.limits())
}

// Stuck reports whether there is a fault that cannot be corrected in this cup. The mix can then
// only be accepted or thrown away. A mix that only needs more of what its step pours is not stuck:
// it is poured on, and a finished mix that is too big for its cup has a warning of its own.
func (m Mix) Stuck() bool {
	needed := m.anyCorrections()
	if len(needed) == 0 || len(m.Corrections()) > 0 {
		return false
	}
	part, _ := needed[0].Add.First()
	return part != mix.Part(m.Step)
}

// NeedsG returns the mass of the finished mix, in g, that the smallest correction leads to, whatever the size of the
// cup. ok is false when there is nothing to correct.
func (m Mix) NeedsG() (totalG float64, ok bool) {
	for _, c := range m.anyCorrections() {
		if !ok || c.TotalG < totalG {
			totalG, ok = c.TotalG, true
		}
	}
	return totalG, ok
}

// anyCorrections returns the corrections without regard to the size of the cup.
func (m Mix) anyCorrections() []mix.Correction {
	l := m.Recipe.limits()
	l.CupMaximumG = 0
	return m.corrections(l)
}

func (m Mix) corrections(l mix.Limits) []mix.Correction {
	poured := m.Poured()
	switch {
	case m.Step == PourOver: // first the mix must be in its cup
		return nil
	case m.inkShort(poured):
		return m.inkCorrections(poured, l)
	case m.ratioOff(poured) && !m.ratioOverridden():
		return mix.RatioCorrections(poured, l)
	case m.Step == Thinner && poured.ThinnerG > 0 && !m.overridden(Thinner):
		return mix.ThinnerCorrections(poured, l)
	}
	return nil
}

// inkCorrections fill up to the least mass of ink and to that of the recipe.
func (m Mix) inkCorrections(poured mix.Amounts, l mix.Limits) []mix.Correction {
	r := m.Recipe
	var out []mix.Correction
	add := func(grams float64, to string) {
		t := mix.Targets(poured.InkG+grams, r.Ratio, r.ThinnerPct)
		if l.CupMaximumG <= 0 || t.TotalG() <= l.CupMaximumG {
			out = append(out, mix.Correction{Add: mix.Addition{InkG: grams}, ThinnerG: t.ThinnerG, TotalG: t.TotalG(), To: to})
		}
	}
	least, exact := r.needInkG()-poured.InkG, r.InkTargetG-poured.InkG
	if least < exact {
		add(least, mix.ToTolerance)
	}
	add(exact, mix.ToExact)
	return out
}

// inkSlackG returns by how many g the ink may be below its target: a division, or 2 % (an
// assumption; the hardener is calculated from the ink that is really in the cup).
func (r Recipe) inkSlackG() float64 {
	return math.Max(r.DivisionG*(1+1e-9), 0.02*r.needInkG())
}

// inkShort reports whether some ink is in, no hardener yet, and the ink is less than the cup
// needs.
func (m Mix) inkShort(poured mix.Amounts) bool {
	return m.Step == Ink && poured.InkG > 0 && poured.HardenerG <= 0 && !m.overridden(Ink) &&
		poured.InkG < m.Recipe.needInkG()-m.Recipe.inkSlackG()
}

// ratioOff reports whether hardener is in and not in ratio. A mix without hardener has no fault
// yet.
func (m Mix) ratioOff(poured mix.Amounts) bool {
	return poured.HardenerG > 0 && poured.InkG > 0 &&
		!mix.InTolerance(poured, m.Recipe.Ratio, m.Recipe.TolerancePct)
}

// ratioOverridden reports whether a person accepted the ratio, and neither ink nor hardener was
// poured since.
func (m Mix) ratioOverridden() bool {
	_, accepted := m.ratioOverride()
	return accepted
}

// RatioReason returns why a person uses a mix that is out of ratio; empty when it is in ratio, or nobody has accepted
// that.
func (m Mix) RatioReason() string {
	if o, accepted := m.ratioOverride(); accepted && m.ratioFault() {
		return o.Reason
	}
	return ""
}

// ratioOverride returns the override that accepts the present ratio; ok is false when there is none.
func (m Mix) ratioOverride() (accepting Override, ok bool) {
	for i := len(m.Overrides) - 1; i >= 0; i-- {
		o := m.Overrides[i]
		if o.Step != Hardener && o.Step != Load {
			continue
		}
		for _, p := range m.Pours[min(o.Pours, len(m.Pours)):] {
			if p.Part != mix.Thinner {
				return Override{}, false
			}
		}
		return o, true
	}
	return Override{}, false
}

func (m Mix) overridden(s Step) bool {
	for _, o := range m.Overrides {
		if o.Step == s {
			return true
		}
	}
	return false
}

// ratioFault reports whether ink and hardener are out of ratio, accepted or not.
func (m Mix) ratioFault() bool { return m.ratioOff(m.Poured()) }

// orderFault reports whether thinner met hardener that was not stirred in, or came before any
// hardener, accepted or not.
func (m Mix) orderFault() bool {
	for _, p := range m.Pours {
		if p.Early {
			return true
		}
	}
	return false
}

// orderOpen reports an order fault that nobody has accepted.
func (m Mix) orderOpen() bool {
	for _, p := range m.Pours {
		if p.Early && !p.Excused {
			return true
		}
	}
	return false
}

// RatioOpen reports whether there is a ratio fault that nobody has accepted.
func (m Mix) RatioOpen() bool { return m.ratioFault() && !m.ratioOverridden() }

// OrderOpen reports whether there is an order fault that nobody has accepted.
func (m Mix) OrderOpen() bool { return m.orderOpen() }

// FaultOpen reports whether there is a ratio fault, an order fault or a material of another recipe that nobody
// has accepted.
func (m Mix) FaultOpen() bool {
	_, foreign := m.foreign()
	return foreign || m.RatioOpen() || m.orderOpen()
}

// foreign returns the first pour of a material that the recipe does not have and that nobody has decided to use.
func (m Mix) foreign() (Pour, bool) {
	for _, p := range m.Pours {
		if p.Material != "" && !p.Kept {
			return p, true
		}
	}
	return Pour{}, false
}

// Strange returns the parts of which a material is in the mix that the recipe does not have, accepted or not. The
// pot life of such a mix is not known.
func (m Mix) Strange() []mix.Part {
	var parts []mix.Part
	for _, p := range m.Pours {
		if p.Material != "" {
			parts = append(parts, p.Part)
		}
	}
	return parts
}

// ThinnerOpen reports whether the thinner is outside the ink's range and nobody has accepted
// that. A mix without thinner has no fault: the thinner may come later.
func (m Mix) ThinnerOpen() bool {
	poured := m.Poured()
	return poured.ThinnerG > 0 && m.thinnerChecked() && !m.limitsKept(poured) && !m.overridden(Thinner)
}

// Expect returns the part that the next pour counts as, unless the confirmation names another
// one. It is empty in steps without a pour.
func (m Mix) Expect() mix.Part {
	switch m.Step {
	case Ink, Hardener, Thinner:
	default:
		return ""
	}
	if c := m.anyCorrections(); len(c) > 0 {
		part, _ := c[0].Add.First()
		return part
	}
	return mix.Part(m.Step)
}

// Bar holds what a screen needs to show a pour against its target. [weigh.Pan.PouredG] of the
// mix's pan and the live reading give the mass that is poured so far.
type Bar struct {
	Part mix.Part `json:"part"`
	// PouredG is the mass of this part in g that is confirmed already.
	PouredG float64 `json:"poured_g"`
	// TargetG is the target of this pour in g. A mass from LowG to HighG is right. The LowG of ink
	// is half a division below its target: of the readings that the scale can show, the nearest
	// counts as the target, and nobody is told to stop before it.
	TargetG float64 `json:"target_g"`
	LowG    float64 `json:"low_g"`
	HighG   float64 `json:"high_g"`
	// LeastG is the least mass in g that is accepted without a correction. It is below LowG for
	// ink only, since the hardener goes by the ink that is really in the cup.
	LeastG float64 `json:"least_g"`
}

// Pouring returns the bar of the next pour. ok is false in steps without a pour, and for a mix that
// is stuck (see [Mix.Stuck]): nothing that is poured into it would put it right.
func (m Mix) Pouring() (b Bar, ok bool) {
	part := m.Expect()
	if part == "" || m.Stuck() {
		return Bar{}, false
	}
	poured, r := m.Poured(), m.Recipe
	b = Bar{Part: part, PouredG: poured.Of(part), TargetG: m.Targets().Of(part) - poured.Of(part)}
	ratio, tolerance := float64(r.Ratio), r.TolerancePct/100
	switch {
	case part == mix.Ink && poured.HardenerG > 0: // brings the mix back into ratio
		asked := poured.HardenerG * ratio
		b.LowG, b.HighG = asked/(1+tolerance)-poured.InkG, asked/(1-tolerance)-poured.InkG
	case part == mix.Ink:
		b.LowG, b.HighG = b.TargetG-r.DivisionG/2, m.mostInkG()-poured.InkG
	case part == mix.Hardener:
		asked := poured.InkG / ratio
		b.LowG, b.HighG = asked*(1-tolerance)-poured.HardenerG, asked*(1+tolerance)-poured.HardenerG
	default:
		per := poured.CatalysedG() / 100
		b.LowG, b.HighG = r.ThinnerMinPct*per-poured.ThinnerG, r.ThinnerMaxPct*per-poured.ThinnerG
	}
	if c := m.anyCorrections(); len(c) > 0 {
		_, b.TargetG = c[0].Add.First()
		b.LowG, b.HighG = math.Min(b.LowG, b.TargetG), math.Max(b.HighG, b.TargetG)
	}
	if b.LeastG = b.LowG; part == mix.Ink && poured.HardenerG <= 0 {
		b.LeastG = math.Min(b.LowG, r.needInkG()-r.inkSlackG()-poured.InkG)
	}
	b.LeastG = math.Max(b.LeastG, 0)
	b.TargetG, b.LowG, b.HighG = math.Max(b.TargetG, 0), math.Max(b.LowG, 0), math.Max(b.HighG, 0)
	return b, true
}

// Warnings returns messages for the person who mixes. No warning prevents a step.
func (m Mix) Warnings() []message.Message {
	var out []message.Message
	warn := func(key string, values ...any) { out = append(out, message.New(key, values...)) }
	poured, r := m.Poured(), m.Recipe
	w := m.weighing()
	if !m.ByHand && w.Grade(m.Targets(), r.TolerancePct) == mix.Coarse {
		warn("coarse-scale", "uncertainty_pct", w.Uncertainty(m.Targets()).RatioPct, "enough_g", int(math.Ceil(w.SmallestUsableInk(r.Ratio, r.TolerancePct))))
	}
	if finished := m.finishedG(); r.CupMaximumG > 0 && finished > r.CupMaximumG {
		warn("too-big-for-cup", "finished_g", finished, "cup_g", r.CupMaximumG)
	}
	if m.Step != Cup && !m.ByHand && r.CupEmptyG > 0 {
		switch {
		case math.Abs(m.CupG) <= r.DivisionG && r.CupEmptyG > 2*r.DivisionG && poured.InkG <= 0:
			warn("cup-tared")
		case m.CupG > r.DivisionG && math.Abs(m.CupG-r.CupEmptyG) > math.Max(2*r.DivisionG, r.CupEmptyG/5):
			warn("cup-weighs-other", "cup_g", m.CupG, "empty_g", r.CupEmptyG)
		}
	}
	for _, p := range m.Pours {
		if p.Material != "" {
			warn("foreign", "mass_g", p.G, "material", p.Material, "part", p.Part)
		}
	}
	if m.Stuck() {
		warn("no-room")
	}
	if m.ratioFault() {
		off := 100 * mix.Deviation(poured, r.Ratio)
		if off > 0 {
			warn("too-much-hardener", "off_pct", int(math.Round(off)))
		} else {
			warn("too-little-hardener", "off_pct", int(math.Round(-off)))
		}
	}
	if pct := poured.ThinnerPct(); pct > 0 && m.thinnerChecked() && !r.limits().ThinnerInRange(poured) {
		warn("thinner-out-of-range", "thinner_pct", pct, "least_pct", r.ThinnerMinPct, "most_pct", r.ThinnerMaxPct)
	}
	if m.orderFault() {
		warn("thinner-too-early")
	}
	if m.UnexplainedG > 0 {
		warn("rose-before-stir", "rise_g", m.UnexplainedG)
	}
	return out
}

// thinnerChecked reports whether the thinner must be in range by now. Too much thinner is
// reported at once, too little once its step is over.
func (m Mix) thinnerChecked() bool {
	switch m.Step {
	case StirThinner, Rest, Load:
		return true
	}
	return m.Poured().ThinnerPct() > m.Recipe.ThinnerMaxPct
}

// finishedG returns the mass in g that the mix has, or will have, with all its thinner.
func (m Mix) finishedG() float64 {
	poured, targets := m.Poured(), m.Targets()
	total := math.Max(poured.InkG, targets.InkG) + math.Max(poured.HardenerG, targets.HardenerG)
	if m.Step == StirThinner || m.Step == Rest || m.Step == Load {
		return poured.TotalG()
	}
	return total + math.Max(poured.ThinnerG, targets.ThinnerG)
}

// RatioUncertainty returns the relative standard uncertainty of the ratio that comes from the
// scale's division: of the ratio as poured, or of the target before that.
func (m Mix) RatioUncertainty() float64 {
	poured := m.Poured()
	if poured.InkG <= 0 || poured.HardenerG <= 0 {
		poured = m.Targets()
	}
	return m.weighing().RatioUncertainty(poured)
}

func (m Mix) weighing() mix.Weighing {
	return mix.Weighing{ReadingUncertaintyG: weigh.StandardUncertainty(m.Recipe.DivisionG)}
}
