package guide

import (
	"slices"
	"time"

	"potlifed/model/mix"
)

// step returns the first step whose condition is not met. It determines the order: every
// accepted change ends with it.
func (m Mix) step() Step {
	poured := m.Poured()
	switch {
	case poured.InkG <= 0 || m.inkShort(poured):
		return Ink
	case poured.HardenerG <= 0 || m.ratioOff(poured) && !m.ratioOverridden():
		return Hardener
	case m.unstirredHardener():
		return StirHardener
	case !m.thinnerDone(poured):
		return Thinner
	}
	return m.stepAfterThinner()
}

func (m Mix) stepAfterThinner() Step {
	switch {
	case len(m.Pours) > m.Stirred:
		return StirThinner
	case m.Recipe.Rest > 0:
		return Rest
	}
	return Load
}

// unstirredHardener reports whether ink or hardener was poured since the last stir.
func (m Mix) unstirredHardener() bool {
	for _, p := range m.Pours[min(m.Stirred, len(m.Pours)):] {
		if p.Part != mix.Thinner {
			return true
		}
	}
	return false
}

// thinnerDone reports whether the thinner needs no more: there is none to pour, or its step was
// confirmed and the thinner is in range, or a person said to go on.
func (m Mix) thinnerDone(poured mix.Amounts) bool {
	if !m.Recipe.thinned() && poured.ThinnerG <= 0 || m.overridden(Thinner) {
		return true
	}
	// Another part that went in at this step, by mistake or as a correction, is no thinner.
	reached := slices.ContainsFunc(m.Pours, func(p Pour) bool {
		return p.Step == Thinner && (p.Part == mix.Thinner || poured.ThinnerG > 0)
	})
	return reached && m.limitsKept(poured)
}

func (m Mix) limitsKept(poured mix.Amounts) bool {
	return m.Recipe.limits().ThinnerInRange(poured)
}

// advanced returns the mix at the first step whose condition is not met.
func (m Mix) advanced(now time.Time) Mix { return m.enter(m.step(), now) }

// enter returns the mix at a step. A rest begins when it is entered.
func (m Mix) enter(s Step, now time.Time) Mix {
	if s == Rest && m.Step != Rest {
		m.RestUntil = now.Add(m.Recipe.Rest)
	}
	m.Step = s
	return m
}
