package weigh

import "math"

// StandardUncertainty returns the standard uncertainty, in grams, of one reading of a scale with
// division d: d/√12. The true weight lies anywhere within its division with equal probability
// (JCGM 100, F.2.2.1).
func StandardUncertainty(divisionG float64) float64 { return divisionG / math.Sqrt(12) }
