package cure

import (
	"slices"
	"time"
)

// MarkAtLeast notes that the batch has lived through a time of unknown length: a reboot while
// the clock was not set. Until CountGap, each member has its own estimate of that time, drawn
// from a lognormal distribution with a median of half an hour and a ln spread of 1.5. It is
// spent at the member's rate in the last known air, with the cup as warm as the air. The nominal
// dose and the age count only the known time, so both are lower limits. The risk includes the
// estimate. Several marks add up.
func (c *Ensemble) MarkAtLeast() {
	if c.gap == nil {
		c.gap = make([]float64, len(c.members))
		c.markedAt = c.age
	}
	phi := c.exposures(c.lastExposure)
	for i := range c.members {
		m := &c.members[i]
		a := m.reading(c.lastAir)
		rate := m.heat*arrhenius(m.activationK, a.TemperatureC) + m.moisture*phi[i]*a.VapourPressurePa()
		c.gap[i] += m.gapH * rate
	}
	c.forgetCeilings()
	c.crossNow()
}

// CountGap adds a time that has become known, usually as one Bridged step, to the past of the
// batch, and removes the estimates of it. Age, spent life and doubtful share grow by the whole
// step. The cup's present temperature is not changed; the step starts with the cup as warm as
// the air.
//
// Levels of the risk that were passed before the mark keep their instants. Later ones were found
// with the estimate; where the risk is still above a level, the level counts as passed now. A
// gap before the last Good is also added to the dose at that moment.
func (c *Ensemble) CountGap(p Place, s Step) {
	if s.Duration <= 0 {
		return
	}
	s = s.clamped()
	c.enter(p)
	past := c.nominal
	past.CupC = s.From.TemperatureC
	past.advance(c.ink, p, s)
	c.nominal.Dose, c.nominal.Doubtful = past.Dose, past.Doubtful

	lived := newState(len(c.members))
	hours, lagH := s.Duration.Hours(), p.lagH()
	n := s.chunks(hours)
	for k := range n {
		pc := s.piece(k, n, hours, lagH)
		if k == 0 {
			for i := range c.members {
				lived.cup[i] = pc.memberAir(&c.members[i], pc.from, pc.strayFrom).TemperatureC
			}
		}
		lived.advance(c.members, c.phi, &pc)
	}
	// With a mark before and after the last Good it is not known on which side this time lay.
	// After it is the safe side.
	beforeGood := c.gapAtGood != nil && slices.Equal(c.gap, c.gapAtGood)
	for i, dose := range lived.dose {
		c.now.dose[i] += dose
		if beforeGood {
			c.doseAtGood[i] += dose
		}
	}
	c.forgetGuesses(s.Duration, beforeGood)
	c.recount(lived.dose)
}

// forgetGuesses removes the drawn doses and what was calculated with them.
func (c *Ensemble) forgetGuesses(gap time.Duration, beforeGood bool) {
	marked := c.gap != nil
	c.gap, c.gapAtGood = nil, nil
	c.age = later(c.age, gap)
	if beforeGood {
		c.goodAt = later(c.goodAt, gap)
	}
	for level, at := range c.crossed {
		if at != notCrossed && marked && at >= c.markedAt {
			c.crossed[level] = notCrossed
		}
	}
	c.markedAt = 0
	c.settle()
	c.crossNow()
}

// crossNow records the levels that the risk has passed without a step as passed at the present
// age.
func (c *Ensemble) crossNow() {
	risk := c.Risk()
	for level := range c.crossed {
		if c.crossed[level] == notCrossed && risk >= levelRisk[level] {
			c.crossed[level] = c.age
		}
	}
}
