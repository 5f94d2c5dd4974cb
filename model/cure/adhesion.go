package cure

import (
	"errors"
	"math"

	"potlifed/model/adhesion"
	"potlifed/model/air"
)

// adhesionEnd is what tests of prints tell of the second end of a batch. It is replaced and never
// changed, so that clones share it.
type adhesionEnd struct {
	End adhesion.End `json:"ln_age_h"` // see [Ensemble.Adhere]
	Air air.State    `json:"air"`      // in which the factors are calculated

	// factor is the nominal dose over each member's own in that air. What tests tell is in nominal doses, so
	// that what is not known of the ink's life is not counted a second time.
	factor []float64
}

// Adhere sets the end at which prints do not adhere any more, as tests tell, or removes it with nil. Risk
// and ends are then those of the earlier of the two ends: the probability that the batch has passed one of
// them. The ages of the end are in hours at 20 °C and 50 % relative humidity, which are doses times the ink's
// life. A look at the batch ([Ensemble.Good]) says nothing of the adhesion. Without such an end
// the ensemble is as if there was no such function. Levels of the risk that are passed now count as passed at
// the present age, and those that are not any more are removed.
//
// It returns an error, and changes nothing, for quantiles that do not rise.
func (c *Ensemble) Adhere(end *adhesion.End) error {
	if end == nil {
		if c.adheres == nil {
			return nil
		}
		c.adheres = nil
	} else {
		if c.adheres != nil && c.adheres.End == *end {
			return nil
		}
		if !end.Valid() {
			return errors.New("adhesion end: the quantiles do not rise")
		}
		c.adheres = &adhesionEnd{End: *end, Air: c.lastAir}
		c.adheres.compare(c)
	}
	risk := c.Risk()
	for level := range c.crossed {
		if risk < levelRisk[level] {
			c.crossed[level] = notCrossed
		}
	}
	c.crossNow()
	return nil
}

// Adheres reports whether an end is known at which prints do not adhere any more.
func (c *Ensemble) Adheres() bool { return c.adheres != nil }

// compare calculates the factors, for the place and the ink of c.
func (a *adhesionEnd) compare(c *Ensemble) {
	vapour := a.Air.VapourPressurePa()
	nominal := c.ink.Rate(a.Air.TemperatureC, vapour, 1)
	a.factor = make([]float64, len(c.members))
	for i := range c.members {
		m := &c.members[i]
		reading := m.reading(a.Air)
		a.factor[i] = nominal / (m.heat*arrhenius(m.activationK, reading.TemperatureC) + m.moisture*reading.VapourPressurePa())
	}
}

// risk returns the probability that the adhesion end has passed at the members' doses.
func (a *adhesionEnd) risk(lRefH float64, dose, gap []float64) float64 {
	sum := 0.0
	for i, factor := range a.factor {
		if d := factor * spent(dose, gap, i); d > 0 {
			sum += a.End.Share(math.Log(d * lRefH))
		}
	}
	return sum / float64(len(a.factor))
}

// mostRisk returns an upper limit of risk, from the member that has spent most.
func (a *adhesionEnd) mostRisk(lRefH float64, dose, gap []float64) float64 {
	most := 0.0
	for i, factor := range a.factor {
		most = max(most, factor*spent(dose, gap, i))
	}
	if most <= 0 {
		return 0
	}
	return a.End.Share(math.Log(most * lRefH))
}

// earlier returns the probability that one of the two ends has passed, from that of the visible one.
func (c *Ensemble) earlier(visible float64, dose []float64) float64 {
	if c.adheres == nil {
		return visible
	}
	return 1 - (1-visible)*(1-c.adheres.risk(c.ink.LRefH, dose, c.gap))
}

// adhesionFirst reports whether the adhesion end is the more likely one to have passed at these doses.
func (c *Ensemble) adhesionFirst(dose []float64) bool {
	return c.adheres != nil && c.adheres.risk(c.ink.LRefH, dose, c.gap) > c.visibleRisk(dose)
}

// valid checks a stored end.
func (a *adhesionEnd) valid() error {
	if !a.End.Valid() {
		return errors.New("the adhesion end is damaged")
	}
	return a.Air.Valid()
}
