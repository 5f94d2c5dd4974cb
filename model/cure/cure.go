// Package cure estimates how much of its pot life a mixed two-component ink has spent, and when
// it will be over.
//
// Two paths spend the hardener: its reaction with the ink, driven by heat alone, and its
// reaction with water taken up from the air, driven by the vapour pressure:
//
//	r(t) = (1/L_ref) [ (1 - s) k(T_cup) + s · phi · e/e_ref ]     share of the pot life spent per hour
//	k(T) = exp(-Ea/R (1/T - 1/T0)), T0 = 293.15 K                 Arrhenius, 1 at 20 °C
//	D(t) = ∫ r dt from the first hardener                         spent life
//	ln(end dose) ~ N(0, sigma²)                                   the median batch ends at D = 1
//
// L_ref is the life at 20 °C and 50 % relative humidity, s the share of the moisture path there,
// phi the exposure of the surface and e_ref the vapour pressure at that reference. What is not
// known about ink, sensor, cup and coming air is carried by an Ensemble of members, each with its
// own parameters, which all live through the same air.
//
// The package has no clock: time is age since the first hardener. It is an estimate of the time
// within the maker's pot life, not of adhesion; first order in water; a lumped cup, without
// self-heating except for fast systems (see [Ink.OfMass]). No public measurement of pot life against humidity is known for these inks, so s
// starts as an assumption.
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
	// ReferenceTemperatureC and ReferenceHumidityPct are the air in °C and % RH that L_ref and s
	// refer to.
	ReferenceTemperatureC = 20.0
	ReferenceHumidityPct  = 50.0
	// MinExposure is the smallest exposure that the model uses. A closed cup still has its own
	// air, so the exposure is never 0.
	MinExposure = 0.01
)

// referenceVapourPa is e_ref: the vapour pressure in Pa at 20 °C and 50 %.
var referenceVapourPa = air.State{TemperatureC: ReferenceTemperatureC, HumidityPct: ReferenceHumidityPct}.VapourPressurePa()

// arrhenius returns k(T) for Ea/R in kelvin and a temperature in °C: how many times faster the
// reaction is than at 20 °C.
func arrhenius(activationK, temperatureC float64) float64 {
	return math.Exp(activationK * (1/(ReferenceTemperatureC+zeroCelsiusK) - 1/(temperatureC+zeroCelsiusK)))
}

// Place describes how a batch is exposed to the air where it is.
type Place struct {
	// Exposure is phi: how much of the room's vapour reaches the ink, relative to the use that
	// the data sheet's figure describes. It is 1 in use and about 0.5 when loosely covered. A
	// value outside 0.01 to 1 is replaced by the nearest limit.
	Exposure float64 `json:"exposure" doc:"how open the cup is, 0 to 1: 1 open or in use, about 0.5 loosely covered"`
	// Lag is the time constant with which the cup follows the temperature of the air; 0 for
	// none.
	Lag time.Duration `json:"lag_ns" doc:"time in which the cup follows the room's temperature by 63 %"`
}

// exposure returns phi within its limits.
func (p Place) exposure() float64 {
	if math.IsNaN(p.Exposure) {
		return 1
	}
	return min(max(p.Exposure, MinExposure), 1)
}

// lagH returns the lag in hours. It is never negative.
func (p Place) lagH() float64 { return max(p.Lag, 0).Hours() }

// hoursToDuration returns a time in hours as a Duration, rounded to the nanosecond and limited
// to what a Duration can hold.
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

// later returns the sum of two durations that are not negative, limited to the longest Duration.
func later(age, by time.Duration) time.Duration {
	if by > math.MaxInt64-age {
		return math.MaxInt64
	}
	return age + by
}
