package air

import "math"

// Reading is what one of several sensors reads that measure the same air.
type Reading struct {
	State
	AccuracyC   float64 // accuracy of the temperature in K, plus or minus, above 0
	AccuracyPct float64 // accuracy of the relative humidity in %, plus or minus, above 0
}

// agree reports whether two sensors differ by no more than the sum of their accuracies, in
// temperature and in vapour pressure. The vapour pressures are compared as relative humidities at the
// mean of both temperatures: sensors in one room see the same vapour, but one of them may be warmer.
func agree(a, b Reading) bool {
	if math.Abs(a.TemperatureC-b.TemperatureC) > a.AccuracyC+b.AccuracyC {
		return false
	}
	full := SaturationPressurePa((a.TemperatureC + b.TemperatureC) / 2)
	return 100*math.Abs(a.VapourPressurePa()-b.VapourPressurePa())/full <= a.AccuracyPct+b.AccuracyPct
}

// Agreeing returns, for each of the readings, whether it belongs to the group that speaks for the
// air: the largest one whose members all agree with one of them, by number and then by the sum of
// 1/accuracy² of the humidity. Where that is equal, the group of the larger vapour pressure speaks, in
// which no ink lives longer. One reading always speaks; the order of the readings does not matter.
func Agreeing(readings []Reading) []bool {
	var best group
	for i, centre := range readings {
		g := group{of: i, pressure: centre.VapourPressurePa(), temperature: centre.TemperatureC}
		for _, r := range readings {
			if agree(centre, r) {
				g.n++
				g.weight += 1 / (r.AccuracyPct * r.AccuracyPct)
			}
		}
		if i == 0 || g.speaksBefore(best) {
			best = g
		}
	}
	speaks := make([]bool, len(readings))
	for i, r := range readings {
		speaks[i] = agree(readings[best.of], r)
	}
	return speaks
}

// group is the readings that agree with one of them.
type group struct {
	of, n                         int
	weight, pressure, temperature float64
}

// sameWeight is the relative difference of two sums that counts as rounding.
const sameWeight = 1e-9

func (g group) speaksBefore(o group) bool {
	switch {
	case g.n != o.n:
		return g.n > o.n
	case math.Abs(g.weight-o.weight) > sameWeight*g.weight:
		return g.weight > o.weight
	case g.pressure != o.pressure:
		return g.pressure > o.pressure
	}
	return g.temperature > o.temperature
}

// Mean returns the air that sensors read together, and the accuracy of that. There must be at least
// one reading.
//
// Temperature and vapour pressure are weighted means, with the weights 1/accuracy²:
//
//	T = Σ Tᵢ/aᵢ² / Σ 1/aᵢ²      e = Σ (RHᵢ/100 · pₛ(Tᵢ))/bᵢ² / Σ 1/bᵢ²      RH = 100 · e/pₛ(T)
//
// A mean of relative humidities would be wrong where the sensors differ in temperature. T and e lie
// between the least and the largest of the readings; RH is at most 100 %.
//
// The accuracy is that of the weighted mean of errors of one sign, Σ (1/aᵢ) / Σ (1/aᵢ²), and not
// smaller: sensors of one make may be off in the same direction.
func Mean(readings []Reading) Reading {
	if len(readings) == 1 {
		return readings[0]
	}
	var c, pa weighted
	for _, r := range readings {
		c.add(r.TemperatureC, r.AccuracyC)
		pa.add(r.VapourPressurePa(), r.AccuracyPct)
	}
	t := c.mean()
	rh := 100 * pa.mean() / SaturationPressurePa(t)
	return Reading{State: State{TemperatureC: t, HumidityPct: rh}.Clamp(), AccuracyC: c.accuracy(), AccuracyPct: pa.accuracy()}
}

// weighted sums values by 1/accuracy².
type weighted struct{ sum, weights, errors, low, high float64 }

func (w *weighted) add(value, accuracy float64) {
	if w.weights == 0 {
		w.low, w.high = value, value
	}
	w.low, w.high = min(w.low, value), max(w.high, value)
	weight := 1 / (accuracy * accuracy)
	w.sum, w.weights, w.errors = w.sum+weight*value, w.weights+weight, w.errors+1/accuracy
}

// mean returns the weighted mean, between the least and the largest value also where rounding is not.
func (w weighted) mean() float64 { return min(max(w.sum/w.weights, w.low), w.high) }

func (w weighted) accuracy() float64 { return w.errors / w.weights }
