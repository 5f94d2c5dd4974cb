package learn

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// The prior of ln life has heavy tails: Student's t with 3 degrees of freedom and the spread of the
// data sheet as its scale. Under a normal distribution a life of half the sheet's is so unlikely
// that the fit prefers a batch-to-batch spread of any size. With heavy tails such a shop is
// believed after 4 to 8 ends, and a shop that is as its sheet says loses nothing.
//
// The deviation of an ink is the sum of the shop's common part and its own, both of them heavy
// tailed: a single odd ink then moves no other, and a shop in which all inks are odd moves all.
// The common part is integrated out.
const (
	freedom = 3.0
	// The common part is integrated over a fixed grid, in units of the prior spread. The integrand
	// is analytic up to 1.22 units from the real axis, so that the trapezoidal rule is right to
	// exp(-2π·1.22/gridStep), 1e-9 (Trefethen & Weideman 2014, from memory).
	gridStep = 0.35
	gridEnd  = 56.0
)

// student returns ln of an unnormalised t density at a deviation of the given scale, with its first
// two derivatives.
func student(x, scale float64) (value, first, second float64) {
	square := freedom * scale * scale
	q := square + x*x
	return -(freedom + 1) / 2 * math.Log1p(x*x/square), -(freedom + 1) * x / q, -(freedom + 1) * (square - x*x) / (q * q)
}

// addLives adds the negative logarithm of the prior of all pairs' lives, whose variables are at the
// given places, to gradient and Hessian, and returns it. A constant is left out.
func addLives(at []int, x, gradient []float64, hessian *mat.SymDense) float64 {
	if len(at) == 0 {
		return 0
	}
	common, own := math.Sqrt(shopShare), math.Sqrt(1-shopShare)
	nodes := 2*int(gridEnd/gridStep) + 1
	ln, weights := make([]float64, nodes), make([]float64, nodes)
	for k := range ln {
		c := (float64(k) - float64(nodes/2)) * gridStep
		ln[k], _, _ = student(c, common)
		for _, i := range at {
			v, _, _ := student(x[i]-c, own)
			ln[k] += v
		}
	}
	top, total := slices.Max(ln), 0.0
	for k := range ln {
		weights[k] = math.Exp(ln[k] - top)
		total += weights[k]
	}
	mean, slope := make([]float64, len(at)), make([]float64, len(at))
	square := mat.NewSymDense(len(at), nil)
	for k, w := range weights {
		if w /= total; w < 1e-14 {
			continue
		}
		c := (float64(k) - float64(nodes/2)) * gridStep
		for a, i := range at {
			_, first, second := student(x[i]-c, own)
			slope[a] = first
			mean[a] += w * first
			square.SetSym(a, a, square.At(a, a)+w*second)
			for b := range a + 1 {
				square.SetSym(a, b, square.At(a, b)+w*first*slope[b])
			}
		}
	}
	for a, i := range at {
		gradient[i] -= mean[a]
		for b, j := range at[:a+1] {
			hessian.SetSym(i, j, hessian.At(i, j)-square.At(a, b)+mean[a]*mean[b])
		}
	}
	return -top - math.Log(total*gridStep)
}

// looseness returns how many times weaker than at the data sheet's life the prior holds the life at
// a deviation in prior spreads: the square root of what the heavy tail takes off the weight of a
// normal distribution.
func looseness(deviation float64) float64 {
	return max(1, math.Sqrt((freedom+deviation*deviation)/(freedom+1)))
}

// starts returns the variables of a pair at which a search for its most likely parameters begins:
// at the data sheet, and with the life at quartiles of its ends. Where a sheet is far off, the
// likelihood has a second maximum near it, with a spread that explains everything.
func (f *fitting) starts() [][]float64 {
	n := len(f.free)
	all := [][]float64{make([]float64, n)}
	life := slices.Index(f.free, pLife)
	var ends []float64
	lnLRef := f.prior.lnLRef(f.prior.centre)
	for i := range f.used {
		if r := &f.used[i]; r.Kind != Alive {
			ends = append(ends, (r.To.spending(f.prior.centre).v-lnLRef.v)/f.prior.spread[pLife])
		}
	}
	if life < 0 || len(ends) == 0 {
		return all
	}
	slices.Sort(ends)
	for _, quartile := range []int{1, 2, 3} {
		start := make([]float64, n)
		start[life] = ends[(len(ends)-1)*quartile/4]
		if !slices.ContainsFunc(all, func(known []float64) bool { return math.Abs(known[life]-start[life]) < 0.5 }) {
			all = append(all, start)
		}
	}
	return all
}
