package weigh

import "math"

// StandardUncertainty of one reading, in grams, of a scale with division d:
// d/√12, the reading being anywhere within its division with equal chance
// (JCGM 100, F.2.2.1).
func StandardUncertainty(divisionG float64) float64 { return divisionG / math.Sqrt(12) }

// NetUncertainty is that of a net mass, the difference of two readings: d/√6.
func NetUncertainty(divisionG float64) float64 { return divisionG / math.Sqrt(6) }

// SmallestNetMass returns the least mass, in grams, that a scale with division
// d can weigh to within the relative limit (0.05 for 5 %): 2 · 0.41 d / limit.
// USP <41> asks 2 s/m ≤ 0.10 % and lets s be no less than 0.41 d; other limits
// use the same rule. The limit must be above zero.
func SmallestNetMass(divisionG, limit float64) float64 { return 2 * 0.41 * divisionG / limit }

// MaxPermissibleError returns, in grams, the largest error allowed on initial
// verification to a class III scale with verification interval e at a load:
// OIML R 76-1, table 6. ok is false below zero and beyond 10,000 e, where class
// III ends.
func MaxPermissibleError(intervalG, loadG float64) (errorG float64, ok bool) {
	n := loadG / intervalG
	switch {
	case !(n >= 0):
		return 0, false
	case n <= 500:
		return 0.5 * intervalG, true
	case n <= 2000:
		return intervalG, true
	case n <= 10000:
		return 1.5 * intervalG, true
	}
	return 0, false
}

// MaxPermissibleErrorInService is twice that of initial verification (OIML
// R 76-1, 3.5.2).
func MaxPermissibleErrorInService(intervalG, loadG float64) (errorG float64, ok bool) {
	e, ok := MaxPermissibleError(intervalG, loadG)
	return 2 * e, ok
}
