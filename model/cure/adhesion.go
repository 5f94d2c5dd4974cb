package cure

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

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

// explain returns the parts of the band of the earlier of the two ends from those of the visible one, and the share of its
// variance that is gone once the ink's adhesion end is known and only its batches differ. Both ends are taken as
// independent, and the visible one as normal in ln age.
func (a *adhesionEnd) explain(visible Explained, lRefH float64) (e Explained, learned float64) {
	// The moments of the earlier end over points of equal probability of the adhesion end.
	const points = 400
	spread := visible.LnSpread
	mean, square, means, ends := 0.0, 0.0, 0.0, make([]float64, points)
	for k := range ends {
		ends[k] = a.End.Quantile((float64(k)+0.5)/points) - math.Log(lRefH)
		m, s := earlierThan(ends[k], spread)
		mean, square, means = mean+m/points, square+s/points, means+m*m/points
	}
	variance := square - mean*mean
	if !(variance > 0) {
		return visible, 0
	}
	share := min(max((means-mean*mean)/variance, 0), 1)
	e = Explained{LnSpread: math.Sqrt(variance)}
	if share > 1e-6 {
		e.Parts = append(e.Parts, Part{Part: PartAdhesion, Share: share})
	}
	for _, p := range visible.Parts {
		e.Parts = append(e.Parts, Part{Part: p.Part, Share: p.Share * (1 - share)})
	}
	slices.SortFunc(e.Parts, func(a, b Part) int { return cmp.Or(cmp.Compare(b.Share, a.Share), cmp.Compare(a.Part, b.Part)) })
	if of := stat.Variance(ends, nil); of > 0 {
		learned = share * max(1-adhesion.Scatter*adhesion.Scatter/of, 0)
	}
	return e, learned
}

// earlierThan returns the first two moments of min(v, at) for v ~ N(0, spread²).
func earlierThan(at, spread float64) (mean, square float64) {
	if !(spread > 0) {
		m := min(at, 0)
		return m, m * m
	}
	z := at / spread
	below, density := 0.5*math.Erfc(-z/math.Sqrt2), math.Exp(-z*z/2)/math.Sqrt(2*math.Pi)
	return at*(1-below) - spread*density, spread*spread*(below-z*density) + at*at*(1-below)
}

// valid checks a stored end.
func (a *adhesionEnd) valid() error {
	if !a.End.Valid() {
		return errors.New("the adhesion end is damaged")
	}
	return a.Air.Valid()
}
