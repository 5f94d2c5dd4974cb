package learn

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// The limits of the plain likelihood. They are wide enough to have no effect, and narrow enough
// for data without scatter to converge.
var (
	plainLow  = point{math.Inf(-1), 0, 0, math.Log(1e-3)}
	plainHigh = point{math.Inf(1), 0.999, 300, math.Log(10)}
	// plainScale is used as the unit of the search where a prior spread is 0.
	plainScale = point{0.1, 0.12, 10, 0.4}
)

// unseenBelow is the information of the ends about a parameter, in units of the prior's, below
// which they do not determine it.
const unseenBelow = 1e-6

// fitPlain finds the most likely parameters from the records alone. Parameters that the ends do
// not determine keep the values of the data sheet. The moisture share is 0 if there was no
// moisture in any batch and nobody gave a data sheet; l_ref_h is then the life of the heat path.
func (f *fitting) fitPlain() {
	if f.result.Ends == 0 {
		f.conclude(solution{at: f.prior.centre, nothing: "no batch was seen to end: the records alone have no most likely life"})
		return
	}
	for p := range parameters {
		if !(f.prior.spread[p] > 0) {
			f.prior.known[p], f.prior.spread[p] = plainScale[p], plainScale[p]
		}
	}
	if f.pair.Assumed && f.dry() {
		f.prior.centre[pShare] = 0
	}
	f.free = f.shown()
	best := f.search()
	if !best.converged {
		f.result.Fault = "the fit did not settle"
		return
	}
	// A parameter at its limit is fixed there. The others have the uncertainty that they have
	// with it fixed.
	s := f.solution(best.x, inverseOver(best.hessian, indices(best.active, false)), make([]float64, len(best.x)))
	if s.at[pLnSigma] <= plainLow[pLnSigma]+1e-9 {
		s.covariance, s.determined = [parameters][parameters]float64{}, [parameters]bool{}
		s.nothing = notDetermined(f.result.Ends)
	}
	f.conclude(s)
}

// dry reports whether no batch met any moisture.
func (f *fitting) dry() bool {
	for i := range f.used {
		if f.used[i].To.moistureH > 0 {
			return false
		}
	}
	return true
}

// shown returns the parameters that the ends determine: those whose effect on ln dose over the
// ends differs from the effects of those before them. The order decides which parameter is fixed
// first: the share.
func (f *fitting) shown() []int {
	at := f.startAt(f.prior.centre[pShare], f.prior.centre[pActivation])
	columns := map[int][]float64{}
	for i := range f.used {
		if f.used[i].Kind == Alive {
			continue
		}
		lnLRef := f.prior.lnLRef(at)
		spent := f.used[i].To.spending(at)
		lnDose := spent.plus(-1, &lnLRef)
		for p := range pLnSigma {
			columns[p] = append(columns[p], lnDose.d[p]*f.prior.spread[p]/f.pair.Sheet.Sigma)
		}
	}
	shows := [parameters]bool{pLnSigma: true}
	var basis [][]float64
	for _, p := range []int{pLife, pActivation, pShare} {
		own := columns[p]
		for _, b := range basis {
			along := dot(own, b) / dot(b, b)
			for k := range own {
				own[k] -= along * b[k]
			}
		}
		if dot(own, own) >= unseenBelow {
			shows[p] = true
			basis = append(basis, own)
		}
	}
	return indices(shows[:], true)
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for k := range a {
		sum += a[k] * b[k]
	}
	return sum
}

// startAt sets life and sigma to the values that fit the ends, given the other two.
func (f *fitting) startAt(share, activation float64) point {
	at := point{0, share, activation, 0}
	lnLRef := f.prior.lnLRef(at)
	mean, square := 0.0, 0.0
	for i := range f.used {
		if f.used[i].Kind == Alive {
			continue
		}
		lnDose := f.used[i].To.spending(at).v - lnLRef.v
		mean += lnDose / float64(f.result.Ends)
		square += lnDose * lnDose / float64(f.result.Ends)
	}
	at[pLife] = mean
	at[pLnSigma] = math.Log(math.Sqrt(max(square-mean*mean, 1e-4)))
	return at
}

// search starts Newton's method at several places and keeps the best result: without a prior
// only the records separate the paths.
func (f *fitting) search() optimum {
	low, high := make([]float64, len(f.free)), make([]float64, len(f.free))
	for k, p := range f.free {
		low[k] = (plainLow[p] - f.prior.centre[p]) / f.prior.spread[p]
		high[k] = (plainHigh[p] - f.prior.centre[p]) / f.prior.spread[p]
	}
	objective := func(x, gradient []float64, hessian *mat.SymDense) float64 {
		clear(gradient)
		hessian.Zero()
		return f.addTo(x, gradient, hessian)
	}
	var free [parameters]bool
	for _, p := range f.free {
		free[p] = true
	}
	best := optimum{value: math.Inf(1)}
	for _, other := range [][2]float64{{f.prior.centre[pShare], f.prior.centre[pActivation]}, {0.1, 40}, {0.1, 70}, {0.5, 40}, {0.5, 70}} {
		if !free[pShare] {
			other[0] = f.prior.centre[pShare]
		}
		if !free[pActivation] {
			other[1] = f.prior.centre[pActivation]
		}
		at := f.startAt(other[0], other[1])
		start := make([]float64, len(f.free))
		for k, p := range f.free {
			start[k] = (at[p] - f.prior.centre[p]) / f.prior.spread[p]
		}
		if o := minimise(objective, start, low, high); o.converged && o.value < best.value {
			best = o
		}
	}
	return best
}
