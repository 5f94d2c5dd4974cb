// Package cure estimates how much of its pot life a mixed two-component ink has spent, and when it will be over.
//
// Two paths spend the hardener: its reaction with the ink, driven by heat alone, and its reaction with water taken up from the air,
// driven by the vapour pressure:
//
//	r(t) = (1/L_ref) [ (1 - s) k(T_cup) + s · phi · e/e_ref ]     share of the pot life spent per hour
//	k(T) = exp(-Ea/R (1/T - 1/T0)), T0 = 293.15 K                 Arrhenius, 1 at 20 °C
//	D(t) = ∫ r dt from the first hardener                         spent life
//	ln(end dose) ~ N(0, sigma²)                                   the median batch ends at D = 1
//
// L_ref is the life at 20 °C and 50 % relative humidity, s the share of the moisture path there, phi the exposure of the surface and
// e_ref the vapour pressure at that reference. What is not known about ink, sensor, cup and coming air is carried by a Cloud of members,
// each with its own parameters, which all live through the same air.
//
// The package has no clock: time is age since the first hardener. It is an estimate of the time within the maker's pot life, not of
// adhesion; first order in water; a lumped cup without self-heating. No public measurement of pot life against humidity is known for
// these inks, so s starts as an assumption.
package cure

import (
	"math"
	"time"

	"potlifed/model/air"
)

const (
	// gasConstant is R in kJ/(mol K) (SI 2019).
	gasConstant = 8.314462618e-3
	// zeroCelsiusK is 0 °C in kelvin.
	zeroCelsiusK = 273.15
	// ReferenceTemperatureC and ReferenceHumidityPct are the air of L_ref and s.
	ReferenceTemperatureC = 20.0
	ReferenceHumidityPct  = 50.0
	// MinExposure is the least exposure the model computes with: a closed cup still has its own air, so exposure is never 0.
	MinExposure = 0.01
)

// referenceVapourPa is e_ref, the vapour pressure at 20 °C and 50 %.
var referenceVapourPa = air.State{TemperatureC: ReferenceTemperatureC, HumidityPct: ReferenceHumidityPct}.VapourPressurePa()

// arrhenius is k(T) for Ea/R in kelvin and a temperature in °C: the factor by which heat speeds the reaction up against 20 °C.
func arrhenius(activationK, temperatureC float64) float64 {
	return math.Exp(activationK * (1/(ReferenceTemperatureC+zeroCelsiusK) - 1/(temperatureC+zeroCelsiusK)))
}

// Place is where a batch stands.
type Place struct {
	// Exposure is phi: how much of the room's vapour reaches the ink, against the use that the data sheet's figure describes. 1 in
	// use, about 0.5 loosely covered. Values outside 0.01..1 are taken as the nearer end.
	Exposure float64 `json:"exposure" doc:"how open the cup is, 0 to 1: 1 open or in use, about 0.5 loosely covered"`
	// Lag is the time constant with which the cup follows the air's temperature; 0 for none.
	Lag time.Duration `json:"lag_ns" doc:"time in which the cup follows the room's temperature by 63 %"`
}

// exposure is phi inside its bounds.
func (p Place) exposure() float64 {
	if math.IsNaN(p.Exposure) {
		return 1
	}
	return min(max(p.Exposure, MinExposure), 1)
}

// lagH is the lag in hours, never negative.
func (p Place) lagH() float64 { return max(p.Lag, 0).Hours() }

// hoursToDuration rounds to the nanosecond and holds the result inside what a Duration can say.
func hoursToDuration(hours float64) time.Duration {
	ns := hours * float64(time.Hour)
	switch {
	case ns >= math.MaxInt64:
		return math.MaxInt64
	case ns <= math.MinInt64:
		return math.MinInt64
	}
	return time.Duration(math.Round(ns))
}

// later adds two durations that are not negative and stops at the longest one instead of turning over.
func later(age, by time.Duration) time.Duration {
	if by > math.MaxInt64-age {
		return math.MaxInt64
	}
	return age + by
}
