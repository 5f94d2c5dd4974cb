package cure

import (
	"math"
	"slices"
	"time"

	"potlifed/model/air"
)

// LowRisk, ExpectedRisk and HighRisk are the risks, from 0 to 1, at which the ends of a batch
// lie (see [Ends]): by then 10, 50 and 90 % of all such batches have gone off.
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

// notCrossed is the value of a level that the risk has not passed yet.
const notCrossed time.Duration = -1

// Ensemble is an ensemble of plausible batches that describes what is known of the spent life of
// one batch. The nominal member has every parameter at its centre and no error of the sensor.
// Around it are the members of a fixed quasi-random design, each with its own parameters and its
// own spent life. The nominal member gives the spent life that is shown; the other members give
// the risk and the ends.
//
// The age of an ensemble counts from the first hardener. The zero Ensemble is not usable; use [New], or
// unmarshal one.
//
// Advance, Good, Hear, Unhear, Adhere, PouredIn, MarkAtLeast and CountGap change the ensemble in place. Code that shares an ensemble
// must clone it first and change the clone. All other methods only read; they may run
// concurrently while nobody changes the ensemble. The same calls give the same ensemble to the bit on
// the same machine with the same binary.
type Ensemble struct {
	ink     Ink
	members []member // never changed, shared between clones

	// phi is each member's exposure at a place with the exposure phiFor. It is replaced and
	// never changed, so that clones can share it.
	phi    []float64
	phiFor float64

	nominal    nominal
	now        state
	doseAtGood []float64
	// gap is each member's drawn dose of a time that was not measured, nil when the age is
	// known. gapAtGood is the part of it that was drawn before the batch was last known good.
	gap, gapAtGood []float64

	age, goodAt time.Duration
	crossed     [levels]time.Duration // when the risk passed each level, or notCrossed
	markedAt    time.Duration         // the age at the first MarkAtLeast that is still in effect

	lastAir      air.State // at the end of the last step, for the dose of an unknown gap
	lastExposure float64

	// heard is what samples of the batch say, nil when none was measured.
	heard *hearing
	// adheres is what tests of prints say, nil while nothing.
	adheres *adhesionEnd

	// Calculated from the fields above.
	alive    alive
	ceiling  ceiling
	maxSigma float64
	// The same as alive and ceiling for each distribution of heard.told.
	heardAlive   []alive
	heardCeiling []ceiling
}

// nominal is the member with all parameters at their centre.
type nominal struct {
	Dose     float64 `json:"dose"`
	Doubtful float64 `json:"doubtful"` // the part of Dose from uncertain, stale or bridged air
	CupC     float64 `json:"cup_c"`
}

// New returns the ensemble of a batch whose first hardener meets the ink now. The cup has the
// temperature of the air. weighing is the relative standard uncertainty of the mixing ratio, 0
// when it is not known; it is added to the sigma of each member in quadrature. The ink must be
// valid, see [Ink.Valid].
func New(ink Ink, sensor Sensor, weighing float64, startAir air.State) *Ensemble {
	drawn := ink.startingAt(startAir.Clamp().TemperatureC)
	members := drawMembers(drawn, sensor, weighing, Members, generator)
	if shorter := ink.warming(startAir); shorter > 0 {
		for i, x := range design(generator, Members)[drawLag] {
			// The slower a cup loses its heat, the warmer the mix becomes.
			members[i].lRefH *= math.Exp(-shorter * normalCDF(x))
			members[i].derive()
		}
	}
	return newEnsemble(ink, members, startAir)
}

func newEnsemble(ink Ink, members []member, startAir air.State) *Ensemble {
	startAir = startAir.Clamp()
	c := &Ensemble{
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

// derive calculates what follows from the stored fields.
func (c *Ensemble) derive() {
	if c.adheres != nil {
		own := *c.adheres
		own.compare(c)
		c.adheres = &own
	}
	c.settle()
	c.ceiling.slope = make([]float64, 0, len(c.members))
	c.maxSigma = 0
	for i := range c.members {
		c.maxSigma = max(c.maxSigma, c.members[i].sigma)
	}
}

// settle calculates what depends on the moment at which the batch was last known good, and on
// the estimates of a gap.
func (c *Ensemble) settle() {
	c.alive = aliveAt(c.members, c.doseAtGood, c.gapAtGood)
	c.heardAlive = c.heardAlive[:0]
	if c.heard != nil {
		for i := range c.heard.told {
			c.heardAlive = append(c.heardAlive, c.heard.told[i].aliveAt(c.doseAtGood, c.gapAtGood))
		}
		for len(c.heardCeiling) < len(c.heard.told) {
			c.heardCeiling = append(c.heardCeiling, ceiling{slope: make([]float64, 0, len(c.members))})
		}
	}
	c.forgetCeilings()
}

// forgetCeilings removes the limits when what they were calculated from has changed.
func (c *Ensemble) forgetCeilings() {
	c.ceiling.forget()
	for i := range c.heardCeiling {
		c.heardCeiling[i].forget()
	}
}

// Clone returns an independent copy.
func (c *Ensemble) Clone() *Ensemble {
	n := len(c.members)
	d := *c
	d.now = newState(n)
	d.now.copyFrom(c.now)
	d.ceiling.slope = append(make([]float64, 0, n), c.ceiling.slope...)
	d.heardAlive = slices.Clone(c.heardAlive)
	d.heardCeiling = nil
	for _, b := range c.heardCeiling {
		d.heardCeiling = append(d.heardCeiling, ceiling{slope: append(make([]float64, 0, n), b.slope...), start: b.start})
	}
	d.doseAtGood = append([]float64(nil), c.doseAtGood...)
	d.gap = append([]float64(nil), c.gap...)
	d.gapAtGood = append([]float64(nil), c.gapAtGood...)
	return &d
}

// Continues reports whether one of the two ensembles is the other one advanced over some steps: they
// have the same members, were last known good at the same moment, know the same of their gaps, and
// were measured at the same samples.
func (c *Ensemble) Continues(d *Ensemble) bool {
	return len(c.members) == len(d.members) && &c.members[0] == &d.members[0] && c.goodAt == d.goodAt && c.heard == d.heard && c.adheres == d.adheres &&
		slices.Equal(c.doseAtGood, d.doseAtGood) && slices.Equal(c.gap, d.gap) && slices.Equal(c.gapAtGood, d.gapAtGood)
}

// exposures returns the members' exposures at a place. It does not change the ensemble.
func (c *Ensemble) exposures(phi float64) []float64 {
	if c.phi != nil && c.phiFor == phi {
		return c.phi
	}
	own := make([]float64, len(c.members))
	for i := range own {
		own[i] = c.members[i].exposure(phi)
	}
	return own
}

// Age returns the time since the first hardener. It is a lower limit from a MarkAtLeast until the time is known.
func (c *Ensemble) Age() time.Duration { return c.age }

// Ink returns the ink from which the members were drawn.
func (c *Ensemble) Ink() Ink { return c.ink }

// Spent returns the spent life of the nominal member, as a share: 1 at the end of the median
// batch. It never falls.
func (c *Ensemble) Spent() float64 { return c.nominal.Dose }

// DoubtfulShare returns the share of Spent that came from uncertain, stale or bridged air, 0 to
// 1.
func (c *Ensemble) DoubtfulShare() float64 {
	if c.nominal.Dose <= 0 {
		return 0
	}
	return min(c.nominal.Doubtful/c.nominal.Dose, 1)
}

// CupTemperatureC returns the temperature of the nominal member's cup in °C.
func (c *Ensemble) CupTemperatureC() float64 { return c.nominal.CupC }

// Risk returns the probability, 0 to 1, that the batch is over by now, given that it was good at
// the last Good. An unknown gap counts with its drawn doses.
func (c *Ensemble) Risk() float64 { return c.riskOf(c.now.dose) }

// riskOf returns the risk at the members' doses.
func (c *Ensemble) riskOf(dose []float64) float64 { return c.earlier(c.visibleRisk(dose), dose) }

// visibleRisk returns the probability that the batch has visibly ended at the members' doses.
func (c *Ensemble) visibleRisk(dose []float64) float64 {
	if len(c.heardAlive) == 0 {
		return c.alive.risk(c.members, dose, c.gap)
	}
	risk := 0.0
	for i := range c.heardAlive {
		risk = max(risk, c.heard.told[i].risk(c.heardAlive[i], dose, c.gap, 0))
	}
	return risk
}

// Rate returns the share of the pot life that the nominal member spends per hour at a place in
// this air, with the cup's present temperature. Without a lag the cup has the temperature of the
// air.
func (c *Ensemble) Rate(p Place, a air.State) float64 {
	a = a.Clamp()
	cup := c.nominal.CupC
	if p.lagH() == 0 {
		cup = a.TemperatureC
	}
	return c.ink.Rate(cup, a.VapourPressurePa(), p.exposure())
}

// Good notes that somebody has looked now and the batch is good. Risk and ends are conditioned
// on this moment from now on, and the levels passed before are removed.
func (c *Ensemble) Good() {
	copy(c.doseAtGood, c.now.dose)
	c.gapAtGood = append([]float64(nil), c.gap...)
	c.goodAt = c.age
	c.crossed = [levels]time.Duration{notCrossed, notCrossed, notCrossed}
	c.settle()
	if c.adheres != nil {
		c.crossNow()
	}
}
