package learn

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// objective returns the value of a function and fills in gradient and Hessian. Where the
// function is not defined the value is NaN.
type objective func(x, gradient []float64, hessian *mat.SymDense) float64

// optimum is the point at which minimise stopped.
type optimum struct {
	x        []float64
	value    float64
	gradient []float64
	hessian  *mat.SymDense
	// active are the variables at a bound whose gradient points beyond it.
	active    []bool
	converged bool
}

const (
	mostRounds = 300
	// longestStep limits a step in any variable. The variables are scaled so that 1 is their
	// prior spread.
	longestStep = 4.0
	// restStep is the length of a step that changes nothing in the digits that are shown.
	restStep = 1e-9
	// roughStep is enough for a value at the optimum: that is then right to 1e-10, since it is level there, and
	// its curvature to 1e-5.
	roughStep = 1e-5
)

// minimise finds a minimum inside a box by Newton's method. The damping grows where the function
// is not convex or a step fails (Levenberg 1944, Marquardt 1963); a variable at a bound whose
// gradient points outwards is held there. The value never rises. converged is false when the
// limit of iterations was reached.
//
// gonum/optimize has a Newton method, but no bounds: share, activation energy and sigma have
// them, and an optimum at a bound is common when a shop has few batches.
func minimise(f objective, start, low, high []float64) optimum {
	return minimiseTo(restStep, f, start, low, high)
}

// minimiseTo is minimise with the length of a step at which it rests.
func minimiseTo(rest float64, f objective, start, low, high []float64) optimum {
	n := len(start)
	o := optimum{x: append([]float64(nil), start...), gradient: make([]float64, n), hessian: mat.NewSymDense(n, nil), active: make([]bool, n)}
	for i := range o.x {
		o.x[i] = min(max(o.x[i], low[i]), high[i])
	}
	o.value = f(o.x, o.gradient, o.hessian)
	if math.IsNaN(o.value) || math.IsInf(o.value, 0) {
		return o
	}
	trial := optimum{x: make([]float64, n), gradient: make([]float64, n), hessian: mat.NewSymDense(n, nil)}
	damping := 0.0
	for range mostRounds {
		for i := range o.x {
			o.active[i] = o.x[i] <= low[i] && o.gradient[i] > 0 || o.x[i] >= high[i] && o.gradient[i] < 0
		}
		step, ok := newtonStep(&o, damping)
		longest := 0.0
		if ok {
			for i := range step {
				trial.x[i] = min(max(o.x[i]+step[i], low[i]), high[i])
				longest = max(longest, math.Abs(trial.x[i]-o.x[i]))
			}
			if longest <= rest && damping == 0 {
				o.converged = true
				return o
			}
			trial.value = f(trial.x, trial.gradient, trial.hessian)
		}
		if ok && trial.value <= o.value {
			o.x, trial.x = trial.x, o.x
			o.gradient, trial.gradient = trial.gradient, o.gradient
			o.hessian, trial.hessian = trial.hessian, o.hessian
			o.value = trial.value
			damping = relaxed(damping)
			continue
		}
		if longest <= rest && ok {
			// Even such a short step does not decrease the value; only rounding is left.
			o.converged = true
			return o
		}
		damping = max(4*damping, 1e-3)
	}
	return o
}

func relaxed(damping float64) float64 {
	if damping < 1e-2 {
		return 0
	}
	return damping / 8
}

// newtonStep solves (H + damping·scale) step = -gradient over the variables that are not active.
// ok is false where that matrix is not positive definite.
func newtonStep(o *optimum, damping float64) ([]float64, bool) {
	free := indices(o.active, false)
	step := make([]float64, len(o.x))
	if len(free) == 0 {
		return step, true
	}
	h, g := mat.NewSymDense(len(free), nil), mat.NewVecDense(len(free), nil)
	for a, i := range free {
		g.SetVec(a, -o.gradient[i])
		for b := range a + 1 {
			h.SetSym(a, b, o.hessian.At(i, free[b]))
		}
		h.SetSym(a, a, h.At(a, a)+damping*(1+math.Abs(h.At(a, a))))
	}
	var factor mat.Cholesky
	if !factor.Factorize(h) {
		return nil, false
	}
	var solved mat.VecDense
	// The damping takes care of a poor condition; the trial step decides.
	_ = factor.SolveVecTo(&solved, g)
	for a, i := range free {
		step[i] = min(max(solved.AtVec(a), -longestStep), longestStep)
		if math.IsNaN(step[i]) {
			return nil, false
		}
	}
	return step, true
}

// indices returns the places of the true values.
func indices(truths []bool, value bool) []int {
	var at []int
	for i, truth := range truths {
		if truth == value {
			at = append(at, i)
		}
	}
	return at
}
