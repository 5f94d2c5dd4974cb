// Package evaporate estimates how much thinner evaporates from an open cup, and how much may be
// added again.
//
// The flux from a pure liquid is that of Mackay and van Wesenbeeck (2014, Environ. Sci. Technol.
// 48:10259):
//
//	flux [g/(m² h)] = 1464e-6 · P [Pa] · M [g/mol]
//
// The flux from a mixture is this times the mole fraction of the thinner (Raoult). The flux from
// a cup is this times the area of its mouth and its exposure.
//
// The estimate is rough; a cup may lose half as much or twice as much. It assumes Raoult's law
// for a solution of binder, no skin on the ink, a room without draught and without thinner in
// its air, and a surface as wide as the mouth. It counts the added thinner only, not the
// solvents of the ink itself. Weighing the cup again is more certain and replaces the estimate
// (see [Cup]).
//
// Masses are in g, temperatures in °C. The package has no clock. Thinner does not
// renew the pot life: the batch ends when it would have ended without.
package evaporate

import (
	"errors"
	"fmt"
	"math"
	"time"
)

const (
	// fluxCoefficient is that of Mackay and van Wesenbeeck in g/(m² h) per Pa g/mol: a mass
	// transfer coefficient of 3.6 m/h.
	fluxCoefficient = 1464e-6
	// gasConstant is R in J/(mol K) (SI 2019).
	gasConstant  = 8.314462618
	zeroCelsiusK = 273.15
	// vapourPressureAtC is the temperature in °C at which the vapour pressure of a thinner is
	// stated.
	vapourPressureAtC = 20.0
	// vaporisationJPerMol is the heat of vaporisation in J/mol, by which the vapour pressure is
	// converted to another temperature (Clausius and Clapeyron). An assumption: cyclic ketones
	// and acetates of the trade lie between 43 and 46 kJ/mol (from memory).
	vaporisationJPerMol = 44e3
	// restMolarMassG is the mean molar mass in g/mol of ink and hardener together. An
	// assumption: half of their mass is solvents of about 100 g/mol. The rest is binder with a
	// molar mass of thousands, and pigment, which adds no moles.
	restMolarMassG = 200.0
	// DefaultMouthMM is the inner diameter in mm of the mouth of an ink cup of 90 mm (common
	// practice, no source).
	DefaultMouthMM = 90.0
)

// The temperatures in °C for which an estimate is given. A temperature outside is replaced by
// the nearest limit.
const (
	minTemperatureC = -40.0
	maxTemperatureC = 85.0
)

// fluxGPerM2H returns the flux in g/(m² h) from a pure liquid into still room air, from its
// vapour pressure in Pa and its molar mass in g/mol.
func fluxGPerM2H(vapourPressurePa, molarMassG float64) float64 {
	return fluxCoefficient * vapourPressurePa * molarMassG
}

// mouthAreaM2 returns the area in m² of a round mouth of the given diameter in mm.
func mouthAreaM2(mouthMM float64) float64 {
	radiusM := mouthMM / 2 / 1000
	return math.Pi * radiusM * radiusM
}

// Thinner holds the properties of a thinner that the estimate needs.
type Thinner struct {
	VapourPressurePa float64 ` doc:"vapour pressure at 20 °C in Pa"`
	MolarMassG       float64 ` doc:"molar mass in g/mol"`
}

// errUnknownThinner means that the vapour pressure or the molar mass of the thinner is not
// known, so that no loss can be estimated. A weighed loss can still be replaced.
var errUnknownThinner = errors.New("vapour pressure or molar mass of the thinner is not known")

// Valid returns nil when an estimate can be made. The error says that a figure
// is missing, or names the figure that is out of range.
func (t Thinner) Valid() error {
	switch {
	case t.VapourPressurePa == 0 || t.MolarMassG == 0:
		return fmt.Errorf("thinner: %w", errUnknownThinner)
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

// Valid returns nil for a mouth of 1 to 1000 mm and an exposure of 0 to 1. Otherwise the error
// names the value.
func (o Opening) Valid() error {
	switch {
	case !(o.MouthMM >= 1 && o.MouthMM <= 1000):
		return fmt.Errorf("cup: mouth %v mm: want 1 to 1000", o.MouthMM)
	case !(o.Exposure >= 0 && o.Exposure <= 1):
		return fmt.Errorf("cup: exposure %v: want 0 to 1", o.Exposure)
	}
	return nil
}

// rateGPerH returns what the cup would lose at 20 °C if it held the pure thinner, in g/h.
func (o Opening) rateGPerH(t Thinner) float64 {
	return fluxGPerM2H(t.VapourPressurePa, t.MolarMassG) * mouthAreaM2(o.MouthMM) * o.Exposure
}

// Stretch is a time for which the cup stood open while the temperature changed linearly.
type Stretch struct {
	Duration   time.Duration
	FromC, ToC float64
}

// hoursAt20 returns for how many hours the cup would have to stand at 20 °C to lose as much. It
// integrates by a three-point Gauss rule over pieces of 10 K, over which the vapour pressure
// changes by less than a factor of three. The result is right to 1e-6.
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

// clampC returns the temperature within the limits, and 20 °C for one that is not a number.
func clampC(c float64) float64 {
	if math.IsNaN(c) {
		return vapourPressureAtC
	}
	return min(max(c, minTemperatureC), maxTemperatureC)
}

// pressureFactor returns the vapour pressure at a temperature divided by that at 20 °C.
func pressureFactor(temperatureC float64) float64 {
	return math.Exp(vaporisationJPerMol / gasConstant * (1/(vapourPressureAtC+zeroCelsiusK) - 1/(temperatureC+zeroCelsiusK)))
}

// leftAfter returns how many grams are left of thinnerG that is mixed into restG of ink and
// hardener.
//
// With n moles of thinner, b moles of the rest and a flow k for the pure liquid, dn/dt = -k
// n/(n+b). The equation separates: n/b + ln(n/b) falls by k t/b. The solution is therefore exact
// for any time, and one long stretch gives the same as many short ones.
func leftAfter(thinnerG, restG float64, t Thinner, pureLossG float64) float64 {
	if !(thinnerG > 0) || !(pureLossG > 0) {
		return max(thinnerG, 0)
	}
	n, b, lost := thinnerG/t.MolarMassG, max(restG, 0)/restMolarMassG, pureLossG/t.MolarMassG
	// When there is almost only thinner, the part of the logarithm is below the rounding error.
	if b < 1e-9*n {
		return max(thinnerG-pureLossG, 0)
	}
	u := n / b
	return min(b*wrightOmega(u+math.Log(u)-lost/b)*t.MolarMassG, thinnerG)
}

// wrightOmega returns the u > 0 that solves u + ln u = y. It uses Newton's rule for v = ln u in
// e^v + v = y, which is convex and rising, from a start above the root, so that every iteration
// approaches the root from the same side.
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
