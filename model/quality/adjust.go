package quality

import (
	"cmp"
	"math"
	"slices"
)

// FalseDiscoveries returns p values corrected for looking at all of them at once: Benjamini and
// Hochberg, J. R. Statist. Soc. B 57 (1995) 289. Where those below q are called discoveries, at
// most the share q of the discoveries is false on average, if the tests are independent or
// depend positively on one another. NaN, for a test that could not be made, stays NaN and does
// not count.
func FalseDiscoveries(p []float64) []float64 {
	adjusted := slices.Repeat([]float64{math.NaN()}, len(p))
	var order []int
	for i, v := range p {
		if !math.IsNaN(v) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[b], p[a]) })
	least, m := 1.0, float64(len(order))
	for k, i := range order { // from the largest: ranks m, m-1, …
		least = min(least, p[i]*m/(m-float64(k)))
		adjusted[i] = least
	}
	return adjusted
}
