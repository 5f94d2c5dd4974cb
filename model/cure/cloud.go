package cure

import (
	"time"

	"potlifed/model/air"
)

// LowRisk, ExpectedRisk and HighRisk are the risks, from 0 to 1, at which a batch's ends [Ends] lie: 10, 50 and 90 % of all such
// batches have gone off by then.
const (
	LowRisk      = 0.10
	ExpectedRisk = 0.50
	HighRisk     = 0.90
)

// The indexes of the three ends.
const (
	low = iota
	expected
	high
	levels
)

var levelRisk = [levels]float64{low: LowRisk, expected: ExpectedRisk, high: HighRisk}

// notCrossed stands where the risk has not yet passed a level.
const notCrossed time.Duration = -1

// Cloud is what is known about the spent life of one batch: a nominal member, every parameter at its centre and no error of the sensor,
// and a fixed quasi-random design of members around it, each with its own parameters and its own spent life. The nominal gives the spent
// life that is shown; the members give the risk and the ends.
//
// A cloud counts age from the first hardener. The zero Cloud is not usable; make one with New or by unmarshalling.
//
// Advance, Good, MarkAtLeast and CountGap change the cloud in place: a holder of shared state clones it first and changes the clone. All
// other methods only read and may run concurrently on a cloud that nobody changes. The same calls give the same cloud to the bit on the
// same machine and binary.
type Cloud struct {
	ink     Ink
	members []member // never changed, shared between clones

	// phi is each member's exposure for phiFor, worked out when a place's exposure changes; replaced, never changed, so clones share it.
	phi    []float64
	phiFor float64

	nominal    nominal
	now        state
	doseAtGood []float64
	// gap is each member's drawn dose of a time that nobody measured, nil when the age is known; gapAtGood its part that had been drawn
	// when the batch was last known good.
	gap, gapAtGood []float64

	age, goodAt time.Duration
	crossed     [levels]time.Duration // when the risk passed each level, or notCrossed
	markedAt    time.Duration         // the age at the first MarkAtLeast that still stands

	lastAir      air.State // at the end of the last step, for the dose of an unknown gap
	lastExposure float64

	// Worked out from the above.
	alive    alive
	ceiling  ceiling
	maxSigma float64
	scratch  [2]state // for the search of a crossing
}

// nominal is the member whose parameters are all at their centre.
type nominal struct {
	Dose     float64 `json:"dose"`
	Doubtful float64 `json:"doubtful"` // the part of Dose from uncertain, stale or bridged air
	CupC     float64 `json:"cup_c"`
}

// New starts the cloud of a batch whose first hardener meets the ink now; the cup has the air's temperature. weighing is the relative
// standard uncertainty of the mixing ratio, added to each member's sigma in quadrature; 0 when it is not known. The ink must be valid.
func New(ink Ink, sensor Sensor, weighing float64, startAir air.State) *Cloud {
	return newCloud(ink, drawMembers(ink, sensor, weighing, Members, generator), startAir)
}

func newCloud(ink Ink, members []member, startAir air.State) *Cloud {
	startAir = startAir.Clamp()
	c := &Cloud{
		ink:          ink,
		members:      members,
		nominal:      nominal{CupC: startAir.TemperatureC},
		now:          newState(len(members)),
		doseAtGood:   make([]float64, len(members)),
		crossed:      [levels]time.Duration{notCrossed, notCrossed, notCrossed},
		lastAir:      startAir,
		lastExposure: 1,
	}
	for i := range members {
		c.now.cup[i] = members[i].reading(startAir).TemperatureC
	}
	c.derive()
	return c
}

// derive works out what follows from the stored fields.
func (c *Cloud) derive() {
	c.settle()
	c.ceiling.slope = make([]float64, 0, len(c.members))
	c.maxSigma = 0
	for i := range c.members {
		c.maxSigma = max(c.maxSigma, c.members[i].sigma)
	}
	c.scratch = [2]state{newState(len(c.members)), newState(len(c.members))}
}

// settle works out what hangs on the moment at which the batch was last known good, and on the guesses of a gap.
func (c *Cloud) settle() {
	c.alive = aliveAt(c.members, c.doseAtGood, c.gapAtGood)
	c.ceiling.forget()
}

// Clone is an independent copy.
func (c *Cloud) Clone() *Cloud {
	n := len(c.members)
	d := *c
	d.now = newState(n)
	d.now.copyFrom(c.now)
	d.ceiling.slope = append(make([]float64, 0, n), c.ceiling.slope...)
	d.doseAtGood = append([]float64(nil), c.doseAtGood...)
	d.gap = append([]float64(nil), c.gap...)
	d.gapAtGood = append([]float64(nil), c.gapAtGood...)
	d.scratch = [2]state{newState(n), newState(n)}
	return &d
}

// exposures are the members' exposures at a place, without touching the cloud.
func (c *Cloud) exposures(phi float64) []float64 {
	if c.phi != nil && c.phiFor == phi {
		return c.phi
	}
	own := make([]float64, len(c.members))
	for i := range own {
		own[i] = c.members[i].exposure(phi)
	}
	return own
}

// Age is the time since the first hardener; a lower bound when AtLeast.
func (c *Cloud) Age() time.Duration { return c.age }

// GoodAt is the age at which the batch was last known good: 0, the first hardener, or the last Good.
func (c *Cloud) GoodAt() time.Duration { return c.goodAt }

// Ink is the ink the cloud was drawn from.
func (c *Cloud) Ink() Ink { return c.ink }

// Spent is the nominal spent life: 1 at the end of the median batch. It never falls.
func (c *Cloud) Spent() float64 { return c.nominal.Dose }

// DoubtfulShare is the share of Spent that came from uncertain, stale or bridged air, 0..1.
func (c *Cloud) DoubtfulShare() float64 {
	if c.nominal.Dose <= 0 {
		return 0
	}
	return min(c.nominal.Doubtful/c.nominal.Dose, 1)
}

// CupTemperatureC is the nominal cup's.
func (c *Cloud) CupTemperatureC() float64 { return c.nominal.CupC }

// Risk is the probability that the batch is over by now, given that it was good at GoodAt; an unknown gap counts with its drawn dose.
func (c *Cloud) Risk() float64 { return c.alive.risk(c.members, c.now.dose, c.gap) }

// Rate is the nominal share of the pot life spent per hour at a place in this air, with the cup's present temperature. Without a lag
// the cup has the air's.
func (c *Cloud) Rate(p Place, a air.State) float64 {
	a = a.Clamp()
	cup := c.nominal.CupC
	if p.lagH() == 0 {
		cup = a.TemperatureC
	}
	return c.ink.Rate(cup, a.VapourPressurePa(), p.exposure())
}

// Good says that somebody looked now and the batch is good. Everything is conditioned on this moment from here on, and the levels passed
// before are forgotten.
func (c *Cloud) Good() {
	copy(c.doseAtGood, c.now.dose)
	c.gapAtGood = append([]float64(nil), c.gap...)
	c.goodAt = c.age
	c.crossed = [levels]time.Duration{notCrossed, notCrossed, notCrossed}
	c.settle()
}
