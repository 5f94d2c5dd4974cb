package learn

import "math"

// The parameters of a fit, in this order.
const (
	pLife       = iota // ln of the life in hours at the data sheet's temperature and 50 %
	pShare             // moisture share
	pActivation        // kJ/mol
	pLnSigma           // ln sigma
	parameters
)

// jet is a function of the parameters at one point: its value, gradient and Hessian (lower
// triangle). The derivatives are computed together with the value (forward-mode automatic
// differentiation), so they cannot disagree with the function.
//
// gonum's num/hyperdual does the same for one pair of parameters at a time. A Hessian of four
// parameters takes ten passes, each with its own exponentials and logarithms; the fit of 1000
// batches took 1.9 times as long (41 ms against 22 ms on amd64). It has no error function
// either, so lnSurvival and lnOneMinusExp would stay ours.
type jet struct {
	v float64
	d [parameters]float64
	h [parameters][parameters]float64
}

// variable returns the parameter p itself.
func variable(p int, value float64) jet {
	j := jet{v: value}
	j.d[p] = 1
	return j
}

// plus returns a + k b.
func (a *jet) plus(k float64, b *jet) jet {
	c := jet{v: a.v + k*b.v}
	for i := range parameters {
		c.d[i] = a.d[i] + k*b.d[i]
		for j := 0; j <= i; j++ {
			c.h[i][j] = a.h[i][j] + k*b.h[i][j]
		}
	}
	return c
}

// times returns a b.
func (a *jet) times(b *jet) jet {
	c := jet{v: a.v * b.v}
	for i := range parameters {
		c.d[i] = a.d[i]*b.v + a.v*b.d[i]
		for j := 0; j <= i; j++ {
			c.h[i][j] = a.h[i][j]*b.v + a.d[i]*b.d[j] + a.d[j]*b.d[i] + a.v*b.h[i][j]
		}
	}
	return c
}

// through returns f(a), given f and its first two derivatives at a.
func (a *jet) through(f, first, second float64) jet {
	c := jet{v: f}
	for i := range parameters {
		c.d[i] = first * a.d[i]
		for j := 0; j <= i; j++ {
			c.h[i][j] = first*a.h[i][j] + second*a.d[i]*a.d[j]
		}
	}
	return c
}

func (a *jet) ln() jet { return a.through(math.Log(a.v), 1/a.v, -1/(a.v*a.v)) }

func (a *jet) exp() jet {
	e := math.Exp(a.v)
	return a.through(e, e, e)
}

// lnSurvival returns ln(1 - Phi(a)). It is accurate in both tails.
func (a *jet) lnSurvival() jet {
	value, hazard, excess := lnSurvival(a.v)
	return a.through(value, -hazard, -hazard*excess)
}

const lnRoot2Pi = 0.91893853320467274178

// lnSurvival returns ln(1 - Phi(x)), the hazard φ/(1 - Phi), and the hazard minus x.
func lnSurvival(x float64) (value, hazard, excess float64) {
	switch {
	case x < -1:
		value = math.Log1p(-0.5 * math.Erfc(-x/math.Sqrt2))
	case x < 25:
		value = math.Log(0.5 * math.Erfc(x/math.Sqrt2))
	default:
		// Abramowitz & Stegun 26.2.12; the hazard from the same series.
		y := 1 / (x * x)
		series := 1 - y*(1-3*y*(1-5*y))
		excess = (y * (1 - 3*y*(1-5*y))) * x / series
		return -0.5*x*x - lnRoot2Pi - math.Log(x) + math.Log(series), x + excess, excess
	}
	hazard = math.Exp(-0.5*x*x - lnRoot2Pi - value)
	return value, hazard, hazard - x
}

// lnOneMinusExp returns ln(1 - exp(a)) for a < 0.
func (a *jet) lnOneMinusExp() jet {
	m := math.Expm1(-a.v) // e^-a - 1, infinite far below zero
	return a.through(math.Log(-math.Expm1(a.v)), -1/m, -(1+1/m)/m)
}
