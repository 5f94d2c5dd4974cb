// Package air calculates properties of moist air: the vapour pressure, the vapour density and
// the dew point.
//
// Temperatures are in °C. Relative humidity is in % of saturation over liquid water at every
// temperature, as humidity sensors report it; below 0 °C this is supercooled water. Pressures
// are in Pa.
package air

import (
	"fmt"
	"math"
)

// The range of air that this package accepts. It is the range that the usual sensors are
// specified for. A reading outside it is a fault of the sensor.
const (
	MinTemperatureC = -40.0
	MaxTemperatureC = 85.0
	MinHumidityPct  = 0.0
	MaxHumidityPct  = 100.0
)

// The range in which inks are usually printed, and for which the model of the pot life is meant
// (common practice, no source). Air outside it has the quality uncertain and raises an alarm.
const (
	MinUsualC   = 10.0
	MaxUsualC   = 35.0
	MaxUsualPct = 85.0
)

// SameWithinC and SameWithinPct are the differences in K and % up to which two states count as
// the same air when the air is recorded as straight lines. They are well below the accuracy of
// any sensor.
const (
	SameWithinC   = 0.05
	SameWithinPct = 0.2
)

const (
	// zeroCelsiusK is 0 °C in kelvin (SI definition).
	zeroCelsiusK = 273.15
	// gasConstant is R in J/(mol K) (SI 2019, exact to the digits shown).
	gasConstant = 8.314462618
	// waterMolarMass is in kg/mol (IAPWS).
	waterMolarMass = 0.018015268
)

// Coefficients of Hyland & Wexler 1983 for saturation over liquid water, 0..200 °C, as printed
// in ASHRAE Fundamentals, chapter 1 (2009 edition: equation 6). T in K, result in Pa.
const (
	hylandWexlerC8  = -5.8002206e3
	hylandWexlerC9  = 1.3914993
	hylandWexlerC10 = -4.8640239e-2
	hylandWexlerC11 = 4.1764768e-5
	hylandWexlerC12 = -1.4452093e-8
	hylandWexlerC13 = 6.5459673
)

// lnSaturation returns the natural logarithm of the saturation pressure in Pa. kelvin must be
// above 0.
func lnSaturation(kelvin float64) float64 {
	return hylandWexlerC8/kelvin + hylandWexlerC9 +
		kelvin*(hylandWexlerC10+kelvin*(hylandWexlerC11+kelvin*hylandWexlerC12)) +
		hylandWexlerC13*math.Log(kelvin)
}

// lnSaturationSlope returns the derivative of lnSaturation in 1/K. It is positive at every
// temperature above 0 K.
func lnSaturationSlope(kelvin float64) float64 {
	return -hylandWexlerC8/(kelvin*kelvin) + hylandWexlerC10 +
		kelvin*(2*hylandWexlerC11+kelvin*3*hylandWexlerC12) +
		hylandWexlerC13/kelvin
}

// SaturationPressurePa returns the vapour pressure in Pa of saturated air over liquid water, by
// Hyland and Wexler 1983. The formula is fitted for 0 to 200 °C. There it agrees with the CRC
// Handbook to 0.05 %. Below 0 °C it is used unchanged, for supercooled water.
func SaturationPressurePa(temperatureC float64) float64 {
	return math.Exp(lnSaturation(temperatureC + zeroCelsiusK))
}

// Saturation approximates the saturation pressure near one temperature, the centre, by a
// third-order expansion of its logarithm. Callers that need many pressures close together avoid
// a logarithm for each of them. Within 6 K of the centre the pressure is right to 2e-5, within 2
// K to 2e-7. Tests check this over the whole range of the package.
type Saturation struct {
	centreC              float64
	pressurePa           float64 // at the centre
	first, second, third float64 // derivatives of its logarithm
}

// SaturationAround returns the expansion around a temperature in °C.
func SaturationAround(temperatureC float64) Saturation {
	t := temperatureC + zeroCelsiusK
	t2 := t * t
	return Saturation{
		centreC:    temperatureC,
		pressurePa: math.Exp(lnSaturation(t)),
		first:      lnSaturationSlope(t),
		second:     2*hylandWexlerC8/(t2*t) + 2*hylandWexlerC11 + 6*hylandWexlerC12*t - hylandWexlerC13/t2,
		third:      -6*hylandWexlerC8/(t2*t2) + 6*hylandWexlerC12 + 2*hylandWexlerC13/(t2*t),
	}
}

// PressurePa returns the approximate saturation pressure in Pa at a temperature in °C.
func (s Saturation) PressurePa(temperatureC float64) float64 {
	d := temperatureC - s.centreC
	ln := d * (s.first + d*(s.second*(1.0/2)+d*(s.third*(1.0/6))))
	if ln >= -0.25 && ln <= 0.25 {
		return s.pressurePa * expSmall(ln)
	}
	return s.pressurePa * math.Exp(ln)
}

// expSmall returns exp(y) for |y| ≤ 1/4, right to 2e-8. It takes a quarter of the time of
// math.Exp.
func expSmall(y float64) float64 {
	return 1 + y*(1+y*(1.0/2)*(1+y*(1.0/3)*(1+y*(1.0/4)*(1+y*(1.0/5)*(1+y*(1.0/6))))))
}

// State is the temperature and the humidity of the air at one moment.
type State struct {
	TemperatureC float64 `json:"temperature_c" doc:"temperature in °C"`
	HumidityPct  float64 `json:"humidity_pct" doc:"relative humidity over liquid water in %"`
}

// Valid returns nil when both values are finite, the temperature is -40 to 85 °C and the
// humidity 0 to 100 %. Otherwise the error names the value and its limits.
func (s State) Valid() error {
	// Written as "not inside", so that a NaN fails too.
	if !(s.TemperatureC >= MinTemperatureC && s.TemperatureC <= MaxTemperatureC) {
		return fmt.Errorf("temperature %v °C is outside %v..%v °C", s.TemperatureC, MinTemperatureC, MaxTemperatureC)
	}
	if !(s.HumidityPct >= MinHumidityPct && s.HumidityPct <= MaxHumidityPct) {
		return fmt.Errorf("relative humidity %v %% is outside %v..%v %%", s.HumidityPct, MinHumidityPct, MaxHumidityPct)
	}
	return nil
}

// Extreme is how air is outside the range in which inks are usually printed.
type Extreme string

// The extremes.
const (
	Cold  Extreme = "cold"  // below MinUsualC
	Warm  Extreme = "warm"  // above MaxUsualC
	Humid Extreme = "humid" // above MaxUsualPct
)

// Extreme returns the first way in which the state is outside the range in which inks are usually
// printed. It is empty inside that range.
func (s State) Extreme() Extreme {
	switch {
	case s.TemperatureC < MinUsualC:
		return Cold
	case s.TemperatureC > MaxUsualC:
		return Warm
	case s.HumidityPct > MaxUsualPct:
		return Humid
	}
	return ""
}

// saturationRatio returns the humidity as a share of 0 to 1. A sensor that is dirty or wet
// reports a little below 0 or above 100 %; such a value is replaced by the nearest limit.
func (s State) saturationRatio() float64 {
	return min(max(s.HumidityPct, MinHumidityPct), MaxHumidityPct) / 100
}

// VapourPressurePa returns the partial pressure of water vapour in Pa. A humidity outside 0 to
// 100 % is replaced by the nearest limit.
//
// The vapour pressure does not depend on how warm the sensor itself is, as long as temperature
// and humidity come from the same chip. The model therefore uses it, and not the relative
// humidity, as the measure of the water in the air.
func (s State) VapourPressurePa() float64 {
	return s.saturationRatio() * SaturationPressurePa(s.TemperatureC)
}

// VapourDensityGM3 returns the mass of water vapour in g/m³, calculated as an ideal gas.
func (s State) VapourDensityGM3() float64 {
	return 1000 * s.VapourPressurePa() * waterMolarMass / (gasConstant * (s.TemperatureC + zeroCelsiusK))
}

// DewPointC returns the dew point in °C: the temperature at which the vapour pressure of this
// air is the saturation pressure over water. It solves the saturation formula to 1e-9 K. ok is
// false for air without any water, which has no dew point, and for a temperature that is not
// finite.
func (s State) DewPointC() (dewPointC float64, ok bool) {
	ratio := s.saturationRatio()
	start := s.TemperatureC + zeroCelsiusK
	if !(ratio > 0) || !(start > 0) || math.IsInf(start, 1) {
		return 0, false
	}
	// Newton's method on ln p as a function of 1/T, which is nearly linear, needs a few
	// iterations from any start. Logarithms keep a trace of humidity from vanishing by
	// underflow.
	target := lnSaturation(start) + math.Log(ratio)
	kelvin := start
	for range 100 {
		miss := lnSaturation(kelvin) - target
		next := 1 / (1/kelvin + miss/(lnSaturationSlope(kelvin)*kelvin*kelvin))
		if math.Abs(next-kelvin) < 1e-10 {
			return next - zeroCelsiusK, true
		}
		kelvin = next
	}
	return 0, false
}

// Lerp returns the state that lies at the fraction f of the way from a to b. Both values are
// interpolated linearly; f = 0 gives a, and f = 1 gives b.
func Lerp(a, b State, f float64) State {
	return State{
		TemperatureC: a.TemperatureC + f*(b.TemperatureC-a.TemperatureC),
		HumidityPct:  a.HumidityPct + f*(b.HumidityPct-a.HumidityPct),
	}
}

// Clamp returns the state with each value moved to the nearest one that [State.Valid] accepts. A
// temperature that is not a number becomes 20 °C and such a humidity 0 %, so that a caller that
// must go on does not calculate with it.
func (s State) Clamp() State {
	if math.IsNaN(s.TemperatureC) {
		s.TemperatureC = 20
	}
	if math.IsNaN(s.HumidityPct) {
		s.HumidityPct = MinHumidityPct
	}
	return State{
		TemperatureC: min(max(s.TemperatureC, MinTemperatureC), MaxTemperatureC),
		HumidityPct:  min(max(s.HumidityPct, MinHumidityPct), MaxHumidityPct),
	}
}
