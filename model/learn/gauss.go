package learn

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// rulePoints: six points keep the first twelve moments of a batch's temperatures. For a batch
// that sees a range of 20 K, and 90 kJ/mol, the integral of the heat path is right to 1e-10; for
// 60 K, to 1e-5.
const rulePoints = 6

// gaussRule replaces times at many temperatures by times at a few, without changing sums over
// smooth functions of the temperature. It is the Gauss quadrature of the given weights, from the
// Jacobi matrix of their orthogonal polynomials (Stieltjes' procedure, then Golub & Welsch 1969,
// both from memory). All hours are positive and have the same sum. Up to six temperatures are
// returned unchanged.
func gaussRule(points []warm) []warm {
	low, high, total := math.Inf(1), math.Inf(-1), 0.0
	for _, p := range points {
		low, high, total = min(low, p.lnHeat), max(high, p.lnHeat), total+p.hours
	}
	if !(total > 0) {
		return nil
	}
	centre, half := (low+high)/2, (high-low)/2
	if half < 1e-12 {
		return []warm{{lnHeat: centre, hours: total}}
	}
	diagonal, offDiagonal := recurrence(points, centre, half, total)
	n := len(diagonal)
	jacobi := mat.NewSymDense(n, nil)
	for i := range n {
		jacobi.SetSym(i, i, diagonal[i])
		if i > 0 {
			jacobi.SetSym(i-1, i, offDiagonal[i-1])
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(jacobi, true) {
		return points // exact, if slow
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	rule := make([]warm, n)
	for i, x := range eigen.Values(nil) {
		first := vectors.At(0, i)
		rule[i] = warm{lnHeat: centre + half*x, hours: total * first * first}
	}
	return rule
}

// recurrence returns the three-term recurrence of the polynomials that are orthogonal under the
// hours of the points, with temperatures scaled to -1..1: the diagonal of the Jacobi matrix and
// the entries beside it.
func recurrence(points []warm, centre, half, total float64) (diagonal, offDiagonal []float64) {
	n := len(points)
	x, now, before := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, p := range points {
		x[i], now[i] = (p.lnHeat-centre)/half, 1
	}
	norm, beta := total, 0.0
	for len(diagonal) < rulePoints {
		alpha := 0.0
		for i, p := range points {
			alpha += p.hours * x[i] * now[i] * now[i]
		}
		alpha /= norm
		diagonal = append(diagonal, alpha)
		next := 0.0
		for i, p := range points {
			now[i], before[i] = (x[i]-alpha)*now[i]-beta*before[i], now[i]
			next += p.hours * now[i] * now[i]
		}
		// There are as many polynomials as temperatures: the next one is zero apart from
		// rounding.
		if next <= 1e-24*total || len(diagonal) == rulePoints {
			break
		}
		beta = next / norm
		norm = next
		offDiagonal = append(offDiagonal, math.Sqrt(beta))
	}
	return diagonal, offDiagonal
}
