package cure

import (
	"math"

	"potlifed/model/air"
)

// course is the temperature of a cup that follows air whose temperature changes linearly: lumped
// capacitance,
//
//	dT/dt = (T_air - T)/tau,  T(t) = air0 + slope (t - tau (1 - x)) + gap x,  x = exp(-t/tau)
//
// which is exact for a ramp. With tau = 0 the cup has the temperature of the air.
type course struct {
	airC   float64 // at t = 0
	slope  float64 // K/h
	gap    float64 // cup minus air at t = 0
	tauH   float64
	hours  float64
	finalC float64 // the air at the end, exactly
}

func newCourse(from, to, cupC, tauH, hours float64) course {
	return course{airC: from, slope: (to - from) / hours, gap: cupC - from, tauH: tauH, hours: hours, finalC: to}
}

// at returns the temperature of the cup in °C, t hours into the course.
func (c course) at(t float64) float64 {
	if c.tauH == 0 {
		return c.airC + c.slope*t
	}
	x := t / c.tauH
	// In this form a very short step of very steep air loses no digits to cancellation.
	decay := math.Expm1(-x)
	return c.airC + c.slope*c.tauH*(x+decay) + c.gap*(1+decay)
}

// end returns the temperature of the cup in °C at the end of the course.
func (c course) end() float64 {
	if c.tauH == 0 {
		return c.finalC
	}
	return c.at(c.hours)
}

// rule is a Gauss-Legendre rule on 0..1: exact for polynomials of degree 2n-1.
type rule struct{ nodes, weights []float64 }

var (
	middle = rule{nodes: []float64{0.5}, weights: []float64{1}}
	gauss2 = rule{
		nodes:   []float64{0.5 - gauss2Node, 0.5 + gauss2Node},
		weights: []float64{0.5, 0.5},
	}
	gauss3 = rule{
		nodes:   []float64{0.5 - gauss3Node, 0.5, 0.5 + gauss3Node},
		weights: []float64{5.0 / 18, 8.0 / 18, 5.0 / 18},
	}
	gauss8 = newGauss8()
)

const (
	gauss2Node = 0.28867513459481288225 // 1/(2√3)
	gauss3Node = 0.38729833462074168852 // √(3/5)/2
)

// newGauss8 expands the tabulated half of the 8-point rule (Abramowitz & Stegun, table 25.4) to
// 0..1.
func newGauss8() rule {
	half := [4][2]float64{
		{0.1834346424956498049394761, 0.3626837833783619829651504},
		{0.5255324099163289858177390, 0.3137066458778872873379622},
		{0.7966664774136267395915539, 0.2223810344533744705443560},
		{0.9602898564975362316835609, 0.1012285362903762591525314},
	}
	var r rule
	for _, h := range half {
		r.nodes = append(r.nodes, (1-h[0])/2, (1+h[0])/2)
		r.weights = append(r.weights, h[1]/2, h[1]/2)
	}
	return r
}

// pieceK is the largest change of temperature inside one application of a rule. Over 10 K an
// Arrhenius factor of 90 kJ/mol changes by less than e^2 and the vapour pressure by less than e,
// which the 8-point rule integrates to better than 1e-12.
const (
	pieceK    = 10.0
	maxPieces = 64
)

// pieces returns how often a rule must be applied over a change of temperature.
func pieces(changeK float64) int {
	return int(min(max(math.Ceil(math.Abs(changeK)/pieceK), 1), maxPieces))
}

// heatIntegral returns ∫ k(T_cup) dt over the course, in hours at 20 °C. The approach of the cup
// to the air is divided at tau, 2 tau, 4 tau …, and each part again so that the temperature
// changes by no more than pieceK inside one application of the rule. With gauss8 the result is
// right to 1e-9 relative for any step, any lag and any air within the limits of package air;
// with gauss3 to 1e-4.
func (c course) heatIntegral(activationK float64, r rule) float64 {
	if c.tauH == 0 {
		return c.heatBetween(activationK, r, 0, c.hours, c.slope*c.hours)
	}
	amplitude := math.Abs(c.gap + c.slope*c.tauH)
	sum := 0.0
	for from, next := 0.0, c.tauH; from < c.hours; from, next = next, 2*next {
		if next >= c.hours || next > 64*c.tauH {
			next = c.hours
		}
		change := math.Abs(c.slope)*(next-from) + amplitude*(math.Exp(-from/c.tauH)-math.Exp(-next/c.tauH))
		sum += c.heatBetween(activationK, r, from, next, change)
	}
	return sum
}

func (c course) heatBetween(activationK float64, r rule, from, to, changeK float64) float64 {
	n := pieces(changeK)
	width := (to - from) / float64(n)
	sum := 0.0
	for i := range n {
		start := from + float64(i)*width
		for j, node := range r.nodes {
			sum += r.weights[j] * arrhenius(activationK, c.at(start+node*width))
		}
	}
	return sum * width
}

// vapourIntegral returns ∫ e dt in Pa h over a step in which temperature and humidity change
// linearly, right to 1e-9 relative.
func vapourIntegral(from, to air.State, hours float64) float64 {
	n := pieces(to.TemperatureC - from.TemperatureC)
	sum := 0.0
	for i := range n {
		for j, node := range gauss8.nodes {
			sum += gauss8.weights[j] * air.Lerp(from, to, (float64(i)+node)/float64(n)).VapourPressurePa()
		}
	}
	return sum * hours / float64(n)
}
