package learn

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Option changes how FitShop works.
type Option func(*settings)

type settings struct{ priorNone bool }

// PriorNone makes the fit use the records alone: the plain likelihood, for comparison with other
// programs. No record is checked for plausibility, the inks share nothing, and the result cannot
// be accepted.
func PriorNone() Option { return func(s *settings) { s.priorNone = true } }

// FitShop fits all pairs of a shop together, so that an ink with few batches gains from the
// others: half of its prior spread is common to the shop. It returns the results in the order of
// the pairs. A pair without a usable record gets what was known before, changed by the other
// inks only. A result with a Fault has no values.
func FitShop(pairs []Pair, options ...Option) []Result {
	var s settings
	for _, option := range options {
		option(&s)
	}
	fits := make([]*fitting, len(pairs))
	var sound []*fitting
	for i := range pairs {
		fits[i] = prepare(pairs[i], s.priorNone)
		if fits[i].result.Fault == "" {
			sound = append(sound, fits[i])
		}
	}
	if s.priorNone {
		for _, f := range sound {
			f.fitPlain()
		}
	} else {
		fitTogether(sound)
	}
	results := make([]Result, len(pairs))
	for i, f := range fits {
		results[i] = f.result
	}
	return results
}

// fitting is a pair while it is fitted.
type fitting struct {
	pair  Pair
	prior prior
	used  []Record
	// wrongly is ln of the probability of each used record if it is wrong.
	wrongly []float64
	result  Result
	// free are the parameters that the fit may change; first is the place of the first of them
	// among all variables of the shop.
	free  []int
	first int
	lots  [lotKinds]lotKind
	jars  []jarMix
}

// prepare separates the records into those that are used and those that are left out.
func prepare(pair Pair, priorNone bool) *fitting {
	f := &fitting{pair: pair}
	f.result = Result{Ink: pair.Ink, Hardener: pair.Hardener, Sheet: pair.Sheet, Assumed: pair.Assumed, LeftOut: []LeftOut{}, PriorNone: priorNone}
	if err := pair.Sheet.Valid(); err != nil {
		f.result.Fault = err.Error()
		return f
	}
	f.prior = priorOf(pair.Sheet)
	records, doubled := OneAMix(pair.Records, pair.Sheet)
	f.result.LeftOut = append(f.result.LeftOut, doubled...)
	for i := range records {
		r := &records[i]
		if why := f.prior.why(r); why != "" {
			f.result.LeftOut = append(f.result.LeftOut, LeftOut{ID: r.ID, Why: why})
			continue
		}
		used := *r
		// What is not known about how the cup was covered differs from batch to batch, and must
		// not pass for the ink's own scatter.
		used.Weighing = math.Hypot(used.Weighing, used.To.scatter(f.prior.centre))
		if used.Noted && !priorNone {
			used.Kind = Between
		}
		f.used, f.wrongly = append(f.used, used), append(f.wrongly, f.prior.wrongly(&used))
		if r.Kind == Alive {
			f.result.Censored++
		} else {
			f.result.Ends++
		}
	}
	f.prior.loosen(f.result.Ends)
	if !priorNone {
		f.findLots()
		f.findJars()
	}
	return f
}

// at returns the parameters at the shop's variables, which count in prior spreads from the
// centre of the prior.
func (f *fitting) at(x []float64) point {
	at := f.prior.centre
	for k, p := range f.free {
		at[p] += f.prior.spread[p] * x[f.first+k]
	}
	return at
}

// addTo subtracts the pair's log-likelihood from value, gradient and Hessian.
func (f *fitting) addTo(x, gradient []float64, hessian *mat.SymDense) float64 {
	at := f.at(x)
	if f.between() == 0 {
		return f.addAll(f.likelihood(at), gradient, hessian)
	}
	value := f.addAll(f.jarLikelihood(at), gradient, hessian)
	for i := range f.used {
		// The effect of a lot is one of ln life: it has the same derivatives.
		moved := at
		f.variables(i, func(j int, spread float64) { moved[pLife] += spread * x[j] })
		one := f.used[i].logLikelihood(moved, &f.prior.sheet)
		if !f.result.PriorNone {
			one, _ = mixed(one, f.wrongly[i])
		}
		value += f.addAll(one, gradient, hessian)
		f.addLots(i, &one, gradient, hessian)
	}
	return value
}

// addAll subtracts a log-likelihood of the pair's parameters from gradient and Hessian, and returns its
// negative.
func (f *fitting) addAll(all jet, gradient []float64, hessian *mat.SymDense) float64 {
	for k, p := range f.free {
		i := f.first + k
		gradient[i] -= all.d[p] * f.prior.spread[p]
		for l, q := range f.free[:k+1] {
			j := f.first + l
			hessian.SetSym(i, j, hessian.At(i, j)-all.h[max(p, q)][min(p, q)]*f.prior.spread[p]*f.prior.spread[q])
		}
	}
	return -all.v
}

// shop is the joint problem of several pairs under their priors.
type shop struct {
	fits []*fitting
	// same holds the variables of each parameter over all pairs.
	same [parameters][]int
	lots []int // the variables of lots
	n    int
}

// newShop returns the problem of some pairs, with the limits of its variables.
func newShop(fits ...*fitting) (s shop, low, high []float64) {
	s.fits = fits
	for _, f := range fits {
		f.first, f.free = s.n, nil
		for p := range parameters {
			if !(f.prior.spread[p] > 0) {
				continue
			}
			f.free = append(f.free, p)
			s.same[p] = append(s.same[p], s.n)
			low = append(low, (priorLow[p]-f.prior.centre[p])/f.prior.spread[p])
			high = append(high, (priorHigh[p]-f.prior.centre[p])/f.prior.spread[p])
			s.n++
		}
		for s.n = f.placeLots(s.n); len(low) < s.n; {
			s.lots = append(s.lots, len(low))
			low, high = append(low, math.Inf(-1)), append(high, math.Inf(1))
		}
	}
	return s, low, high
}

// fitTogether finds the most likely parameters of all pairs at once, beginning where each pair by
// itself is most likely.
func fitTogether(fits []*fitting) {
	var start []float64
	for _, f := range fits {
		alone, low, high := newShop(f)
		best := optimum{x: make([]float64, alone.n), value: math.Inf(1)}
		for _, from := range f.starts() {
			if o := minimise(alone.penalised, from, low, high); o.converged && o.value < best.value {
				best = o
			}
		}
		f.findSpreads(best.x)
		start = append(start, best.x...)
		start = append(start, make([]float64, f.placeLots(0))...)
	}
	s, low, high := newShop(fits...)
	if s.n == 0 {
		for _, f := range fits {
			f.listWrong(nil)
			f.conclude(solution{at: f.prior.centre})
		}
		return
	}
	o := minimise(s.penalised, start, low, high)
	if !o.converged {
		for _, f := range fits {
			f.result.Fault = "the fit did not settle"
		}
		return
	}
	mostLikely := append([]float64(nil), o.x...)
	s.levelSigma(&o, low, high)
	covariance, lean := spreadAround(o)
	for _, f := range fits {
		f.compare(f.withoutLots(f.at(o.x)))
		f.listWrong(o.x)
		f.result.LogLikelihood = sum(f.used, f.at(mostLikely), &f.prior.sheet).v
		found := f.solution(o.x, covariance, lean)
		found.at = f.withoutLots(found.at)
		f.conclude(found)
		f.tellLots(o.x, covariance, found.at)
	}
}

// penalised returns the negative logarithm of likelihood times prior, apart from a constant.
func (s *shop) penalised(x, gradient []float64, hessian *mat.SymDense) float64 {
	clear(gradient)
	hessian.Zero()
	value := 0.0
	for _, f := range s.fits {
		value += f.addTo(x, gradient, hessian)
	}
	value += addLives(s.same[pLife], x, gradient, hessian)
	for _, i := range s.lots {
		value += 0.5 * x[i] * x[i]
		gradient[i] += x[i]
		hessian.SetSym(i, i, hessian.At(i, i)+1)
	}
	// The other parameters' deviations over the pairs have variance 1 and correlation shopShare;
	// this is the inverse of that matrix.
	for p, at := range s.same {
		if p == pLife {
			continue
		}
		total := 0.0
		for _, i := range at {
			total += x[i]
		}
		own := 1 / (1 - shopShare)
		common := own * shopShare / (1 - shopShare + shopShare*float64(len(at)))
		for a, i := range at {
			value += 0.5 * x[i] * (own*x[i] - common*total)
			gradient[i] += own*x[i] - common*total
			for _, j := range at[:a+1] {
				h := hessian.At(i, j) - common
				if i == j {
					h += own
				}
				hessian.SetSym(i, j, h)
			}
		}
	}
	return value
}

// spreadAround returns the covariance from the curvature at an optimum. For each variable at a
// bound it also returns how far beyond the bound the centre would be: the distribution there is
// a truncated normal one.
func spreadAround(o optimum) (covariance *mat.SymDense, lean []float64) {
	n := len(o.x)
	covariance, lean = mat.NewSymDense(n, nil), make([]float64, n)
	var factor mat.Cholesky
	if factor.Factorize(o.hessian) && factor.InverseTo(covariance) == nil && mostVariance(covariance) <= 4 {
		for i := range n {
			for j := range n {
				if o.active[j] {
					lean[i] -= covariance.At(i, j) * o.gradient[j]
				}
			}
		}
		return covariance, lean
	}
	// The function is not convex across a bound, or nearly so, where nothing can be wider than
	// twice the prior. A variable at a bound then keeps its prior spread, and the others have
	// theirs given that.
	covariance = inverseOver(o.hessian, indices(o.active, false))
	for _, i := range indices(o.active, true) {
		covariance.SetSym(i, i, 1)
	}
	return covariance, lean
}

func mostVariance(covariance *mat.SymDense) float64 {
	most := 0.0
	for i := range covariance.SymmetricDim() {
		most = max(most, covariance.At(i, i))
	}
	return most
}

// inverseOver returns the inverse of the part of a matrix that belongs to some variables. The
// other entries are zero; all are zero where it cannot be inverted.
func inverseOver(h *mat.SymDense, over []int) *mat.SymDense {
	whole := mat.NewSymDense(h.SymmetricDim(), nil)
	if len(over) == 0 {
		return whole
	}
	part, inverse := mat.NewSymDense(len(over), nil), mat.NewSymDense(len(over), nil)
	for a, i := range over {
		for b, j := range over[:a+1] {
			part.SetSym(a, b, h.At(i, j))
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(part) || factor.InverseTo(inverse) != nil {
		return whole
	}
	for a, i := range over {
		for b, j := range over[:a+1] {
			whole.SetSym(i, j, inverse.At(a, b))
		}
	}
	return whole
}

// solution is a set of parameters with its uncertainty.
type solution struct {
	at         point
	covariance [parameters][parameters]float64
	// lean is how far beyond its bound a parameter at a bound would be.
	lean point
	// determined are the parameters that have a standard error.
	determined [parameters]bool
	// nothing says why the plain likelihood could not be evaluated; empty when it could.
	nothing string
}

// solution returns the pair's part of the shop's variables.
func (f *fitting) solution(x []float64, covariance *mat.SymDense, lean []float64) solution {
	s := solution{at: f.at(x)}
	for k, p := range f.free {
		s.lean[p] = lean[f.first+k] * f.prior.spread[p]
		s.determined[p] = covariance.At(f.first+k, f.first+k) > 0
		for l, q := range f.free {
			s.covariance[p][q] = covariance.At(f.first+k, f.first+l) * f.prior.spread[p] * f.prior.spread[q]
		}
	}
	return s
}

// notDetermined returns the solution of a plain likelihood that has no maximum.
func notDetermined(ends int) string {
	return fmt.Sprintf("%d ends do not show any scatter: the records alone say nothing about how sure the values are", ends)
}

// lnSpan returns the logarithm of a ratio's interval end minus that of its centre.
func lnSpan(se float64) float64 { return z90 * math.Max(se, 0) }

// z90 is the standard normal's 95 % point.
const z90 = 1.6448536269514722
