// Package evaporate estimates how much thinner leaves an open cup, and says what may be put back.
//
// The flux from a pure liquid is that of Mackay and van Wesenbeeck (2014, Environ. Sci. Technol. 48:10259):
//
//	flux [g/(m² h)] = 1464e-6 · P [Pa] · M [g/mol]
//
// from a mixture times the thinner's mole fraction (Raoult), from a cup times its mouth's area and its exposure.
//
// It is a rough figure, by which a cup may lose half as much or twice as much: Raoult's law for a binder solution, no skin on the ink, a
// room without draught and without thinner in its air, the surface as wide as the mouth. It counts the added thinner alone and not the
// solvents that the ink brought along. A cup that was weighed again is worth more, and is preferred to it (see Cup).
//
// Masses are in grams, temperatures in °C. The package has no clock. Nothing in it touches the pot life: see NoRenewal.
package evaporate

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// NoRenewal is to be said wherever thinner is advised.
const NoRenewal = "Thinner makes the ink thinner; it does not renew its pot life. The batch ends when it would have ended without."

const (
	// fluxCoefficient is Mackay and van Wesenbeeck's, in g/(m² h) per Pa g/mol: a mass transfer of 3.6 m/h.
	fluxCoefficient = 1464e-6
	// gasConstant is R in J/(mol K) (SI 2019).
	gasConstant  = 8.314462618
	zeroCelsiusK = 273.15
	// vapourPressureAtC is the temperature of a thinner's stated vapour pressure.
	vapourPressureAtC = 20.0
	// VaporisationJPerMol carries the vapour pressure to another temperature (Clausius and Clapeyron). An assumption: cyclic ketones and
	// acetates of the trade lie between 43 and 46 kJ/mol (from memory).
	VaporisationJPerMol = 44e3
	// RestMolarMassG is the mean molar mass in g/mol of what the thinner is mixed with, ink and hardener together. An assumption: half of
	// it solvents of about 100 g/mol, the rest binder, which weighs thousands, and pigment, which counts no moles at all.
	RestMolarMassG = 200.0
	// DefaultMouthMM is the mouth of the usual 90 mm ink cup.
	DefaultMouthMM = 90.0
)

// The temperatures for which an estimate is given; outside, the nearest is taken.
const (
	minTemperatureC = -40.0
	maxTemperatureC = 85.0
)

// FluxGPerM2H is the flux in g/(m² h) from a pure liquid into still room air.
func FluxGPerM2H(vapourPressurePa, molarMassG float64) float64 {
	return fluxCoefficient * vapourPressurePa * molarMassG
}

// MouthAreaM2 is the area in m² of a round mouth.
func MouthAreaM2(mouthMM float64) float64 {
	radiusM := mouthMM / 2 / 1000
	return math.Pi * radiusM * radiusM
}

// Thinner is what must be known of a thinner.
type Thinner struct {
	VapourPressurePa float64 ` doc:"vapour pressure at 20 °C in Pa"`
	MolarMassG       float64 ` doc:"molar mass in g/mol"`
}

// ErrUnknownThinner means that vapour pressure or molar mass of the thinner is not known, so that nothing can be estimated. A weighed
// loss can be replaced all the same.
var ErrUnknownThinner = errors.New("vapour pressure or molar mass of the thinner is not known")

// Valid says whether an estimate can be made: ErrUnknownThinner where a figure is missing.
func (t Thinner) Valid() error {
	switch {
	case t.VapourPressurePa == 0 || t.MolarMassG == 0:
		return fmt.Errorf("thinner: %w", ErrUnknownThinner)
	case !(t.VapourPressurePa > 0 && t.VapourPressurePa <= 100e3):
		return fmt.Errorf("thinner: vapour pressure %v Pa: want above 0 and at most 100000", t.VapourPressurePa)
	case !(t.MolarMassG >= 10 && t.MolarMassG <= 1000):
		return fmt.Errorf("thinner: molar mass %v g/mol: want 10 to 1000", t.MolarMassG)
	}
	return nil
}

// Opening is how the cup is open to the room.
type Opening struct {
	MouthMM  float64 // inner diameter
	Exposure float64 // 1 open, about 0.5 loosely covered, 0 under a lid
}

// Valid says whether the opening is one: a mouth of 1 to 1000 mm and an exposure of 0 to 1.
func (o Opening) Valid() error {
	switch {
	case !(o.MouthMM >= 1 && o.MouthMM <= 1000):
		return fmt.Errorf("cup: mouth %v mm: want 1 to 1000", o.MouthMM)
	case !(o.Exposure >= 0 && o.Exposure <= 1):
		return fmt.Errorf("cup: exposure %v: want 0 to 1", o.Exposure)
	}
	return nil
}

// RateGPerH is what the cup would lose in an hour at 20 °C if it held the pure thinner.
func (o Opening) RateGPerH(t Thinner) float64 {
	return FluxGPerM2H(t.VapourPressurePa, t.MolarMassG) * MouthAreaM2(o.MouthMM) * o.Exposure
}

// Stretch is a time during which the cup stood open, the temperature moving in a straight line.
type Stretch struct {
	Duration   time.Duration
	FromC, ToC float64
}

// hoursAt20 is how long the cup would have to stand at 20 °C to lose as much. A three-point Gauss rule over pieces of 10 K, over which
// the vapour pressure changes by less than a factor of three: right to 1e-6.
func (s Stretch) hoursAt20() float64 {
	const node, pieceK = 0.38729833462074168852, 10.0
	from, to := clampC(s.FromC), clampC(s.ToC)
	n := int(max(math.Ceil(math.Abs(to-from)/pieceK), 1))
	sum := 0.0
	for i := range n {
		at := func(f float64) float64 { return pressureFactor(from + (to-from)*(float64(i)+f)/float64(n)) }
		sum += 5.0/18*at(0.5-node) + 8.0/18*at(0.5) + 5.0/18*at(0.5+node)
	}
	return max(s.Duration, 0).Hours() * sum / float64(n)
}

// clampC takes a temperature that is no number for 20 °C.
func clampC(c float64) float64 {
	if math.IsNaN(c) {
		return vapourPressureAtC
	}
	return min(max(c, minTemperatureC), maxTemperatureC)
}

// pressureFactor is a vapour pressure against that at 20 °C.
func pressureFactor(temperatureC float64) float64 {
	return math.Exp(VaporisationJPerMol / gasConstant * (1/(vapourPressureAtC+zeroCelsiusK) - 1/(temperatureC+zeroCelsiusK)))
}

// leftAfter is the thinner in grams that is left of thinnerG, mixed into restG of ink and hardener.
//
// With n moles of thinner, b of the rest and a flow k for the pure liquid, dn/dt = -k n/(n+b). It separates: n/b + ln(n/b) falls by
// k t/b. So the answer is exact for any time, and one long stretch equals the short ones it is made of.
func leftAfter(thinnerG, restG float64, t Thinner, pureLossG float64) float64 {
	if !(thinnerG > 0) || !(pureLossG > 0) {
		return max(thinnerG, 0)
	}
	n, b, lost := thinnerG/t.MolarMassG, max(restG, 0)/RestMolarMassG, pureLossG/t.MolarMassG
	// Of next to nothing but thinner the logarithm's share is lost in rounding anyway.
	if b < 1e-9*n {
		return max(thinnerG-pureLossG, 0)
	}
	u := n / b
	return min(b*wrightOmega(u+math.Log(u)-lost/b)*t.MolarMassG, thinnerG)
}

// wrightOmega solves u + ln u = y for u > 0: Newton's rule for v = ln u in e^v + v = y, which is convex and rising, from a start above
// the root, so that every round comes closer from the same side.
func wrightOmega(y float64) float64 {
	v := y
	if y > 1 {
		v = math.Log(y)
	}
	for range 50 {
		e := math.Exp(v)
		step := (e + v - y) / (e + 1)
		v -= step
		if math.Abs(step) <= 1e-15*max(math.Abs(v), 1) {
			break
		}
	}
	return math.Exp(v)
}
