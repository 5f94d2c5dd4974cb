package learn

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// levelSigma moves each pair's ln sigma from the most likely value to its mean, and calculates
// the curvature of everything there.
//
// The most likely sigma is too small, as the most likely variance of a sample is: the other
// parameters were fitted to the same scatter, and the distribution of ln sigma is skewed to the
// right. With 20 ends both together make 6 %, so that a band of 80 % holds 77 %. The first part
// is the derivative of the logarithm of the volume of the other parameters, -½ ln |H| (Laplace's
// approximation of the marginal likelihood; Tierney & Kadane 1986, from memory). The second is
// half the third derivative times the squared variance. Both come from the curvature at a second
// point, one standard error higher.
func (s *shop) levelSigma(o *optimum, low, high []float64) {
	covariance, _ := spreadAround(*o)
	up := optimum{x: append([]float64(nil), o.x...), gradient: make([]float64, s.n), hessian: mat.NewSymDense(s.n, nil)}
	step := make([]float64, s.n)
	for _, i := range s.same[pLnSigma] {
		step[i] = math.Sqrt(max(covariance.At(i, i), 0))
		up.x[i] += step[i]
	}
	if !isFinite(s.penalised(up.x, up.gradient, up.hessian)) {
		return
	}
	moved := append([]float64(nil), o.x...)
	for _, f := range s.fits {
		i, others := f.sigmaAndOthers()
		if i < 0 || o.active[i] || step[i] == 0 {
			continue
		}
		variance := covariance.At(i, i)
		volume := -0.5 * (lnDeterminant(up.hessian, others) - lnDeterminant(o.hessian, others)) / step[i]
		third := -(up.hessian.At(i, i) - o.hessian.At(i, i)) / step[i]
		if shift := variance*volume + 0.5*variance*variance*third; isFinite(shift) {
			moved[i] = min(max(o.x[i]+min(max(shift, -step[i]), step[i]), low[i]), high[i])
		}
	}
	at := optimum{x: moved, gradient: make([]float64, s.n), hessian: mat.NewSymDense(s.n, nil), active: o.active, converged: true}
	if at.value = s.penalised(at.x, at.gradient, at.hessian); isFinite(at.value) {
		// The gradient of the variables that were moved does not point beyond a bound. For the
		// active ones it is as before.
		*o = at
	}
}

// sigmaAndOthers returns the variables of a pair: ln sigma, -1 if it is not free, and the
// others.
func (f *fitting) sigmaAndOthers() (sigma int, others []int) {
	sigma = -1
	for k, p := range f.free {
		if p == pLnSigma {
			sigma = f.first + k
		} else {
			others = append(others, f.first+k)
		}
	}
	for k := range f.lots {
		if kind := &f.lots[k]; kind.spread > 0 {
			for j := range kind.names {
				others = append(others, kind.first+j)
			}
		}
	}
	return sigma, others
}

// lnDeterminant returns the logarithm of the determinant of the part of a matrix that belongs to
// some variables; NaN where that part is not positive definite.
func lnDeterminant(h *mat.SymDense, of []int) float64 {
	if len(of) == 0 {
		return 0
	}
	part := mat.NewSymDense(len(of), nil)
	for a, i := range of {
		for b, j := range of[:a+1] {
			part.SetSym(a, b, h.At(i, j))
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(part) {
		return math.NaN()
	}
	return factor.LogDet()
}

func isFinite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
