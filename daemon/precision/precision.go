// Package precision rounds figures to what is known of them, for everything that is sent
// out. A figure with more digits than the instrument has is not more exact, and is hard to
// read. The state and the model keep all digits.
//
// A rounded figure is the float64 that is nearest to the decimal one, so JSON writes it
// with no more decimals than it was rounded to. Figures that are not finite are returned
// as they are.
package precision

import (
	"math"
	"strconv"
)

// The decimals that each kind of figure keeps.
const (
	secondsDecimals  = 1
	hundredths       = 2 // °C, %, g/m³, kJ/mol and other units
	hoursDecimals    = 4 // a third of a second
	sharesDecimals   = 6
	gramsDecimals    = 2 // where the scale's division is not known
	mostGramDecimals = 6
)

// Grams returns a mass in g, rounded to a tenth of the division of the scale in g. A
// division of 0 or less is not known; the mass is then rounded to 0.01 g.
func Grams(g, divisionG float64) float64 { return gramsBy(g, divisionG, math.Round) }

// GramsAtLeast returns a lower limit in g, rounded up to a tenth of the division: a
// reading that reaches the rounded limit reaches the limit.
func GramsAtLeast(g, divisionG float64) float64 {
	return gramsBy(g, divisionG, func(tenths float64) float64 { return math.Ceil(tenths - hair) })
}

// GramsAtMost returns an upper limit in g, rounded down to a tenth of the division.
func GramsAtMost(g, divisionG float64) float64 {
	return gramsBy(g, divisionG, func(tenths float64) float64 { return math.Floor(tenths + hair) })
}

// hair is, in tenths of a division, what binary arithmetic adds to a decimal figure.
const hair = 1e-6

func gramsBy(g, divisionG float64, whole func(float64) float64) float64 {
	step, places := 0.01, gramsDecimals
	if divisionG > 0 && !math.IsInf(divisionG, 0) {
		step = divisionG / 10
		places = decimalsOf(step)
	}
	tenths := g / step
	if !exact(tenths) {
		return g
	}
	return decimals(whole(tenths)*step, places)
}

// decimalsOf returns how many decimals a step has, at most mostGramDecimals.
func decimalsOf(step float64) int {
	for places := range mostGramDecimals {
		if scaled := step * powers[places]; math.Abs(scaled-math.Round(scaled)) < 1e-9*scaled {
			return places
		}
	}
	return mostGramDecimals
}

// Celsius returns a temperature in °C, rounded to 0.01 °C.
func Celsius(c float64) float64 { return Hundredths(c) }

// Percent returns a figure in %, rounded to 0.01 %.
func Percent(pct float64) float64 { return Hundredths(pct) }

// GramsPerM3 returns a vapour density in g/m³, rounded to 0.01 g/m³.
func GramsPerM3(density float64) float64 { return Hundredths(density) }

// KJPerMol returns an activation energy in kJ/mol, rounded to 0.01 kJ/mol.
func KJPerMol(energy float64) float64 { return Hundredths(energy) }

// Hundredths returns a figure of another unit, rounded to 0.01 of it.
func Hundredths(x float64) float64 { return decimals(x, hundredths) }

// Seconds returns a time in s, rounded to 0.1 s.
func Seconds(s float64) float64 { return decimals(s, secondsDecimals) }

// Hours returns a time in h, rounded to 0.0001 h.
func Hours(h float64) float64 { return decimals(h, hoursDecimals) }

// Share returns a share, a probability, a ratio or another figure without a unit, rounded
// to 1e-6.
func Share(share float64) float64 { return decimals(share, sharesDecimals) }

// Significant returns a figure of an unknown unit, rounded to so many significant digits.
func Significant(x float64, digits int) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', digits, 64), 64)
	if err != nil {
		return x
	}
	return rounded
}

// Known returns a new pointer to the rounded figure, or nil for one that is absent. The
// figure that was given is not changed.
func Known(figure *float64, rounded func(float64) float64) *float64 {
	if figure == nil {
		return nil
	}
	r := rounded(*figure)
	return &r
}

var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6}

func decimals(x float64, places int) float64 {
	scaled := x * powers[places]
	if !exact(scaled) {
		return x
	}
	return math.Round(scaled)/powers[places] + 0 // + 0 turns -0 into 0
}

// exact reports whether a float64 of this size still tells whole numbers apart. Beyond it,
// and for figures that are not finite, there is nothing to round.
func exact(x float64) bool { return math.Abs(x) < 1<<53 }
