package cure

import (
	"math"

	"potlifed/model/air"
)

// mostStretches bounds the work for a step of days with a lag of seconds; the cup has settled then long before.
const mostStretches = 2000

// LnHeat is ln k(T) for an activation energy of 1 kJ/mol: k(T) = exp(activation · LnHeat(T)), 0 at 20 °C.
func LnHeat(temperatureC float64) float64 {
	return (1/(ReferenceTemperatureC+zeroCelsiusK) - 1/(temperatureC+zeroCelsiusK)) / gasConstant
}

// Trace lets a cup of cupC degrees live through a step, as the nominal member does, and splits what it lives through from what the ink
// makes of it: visit gets stretches of hours with the cup at one temperature, by a 3-point rule over a quarter of an hour, 2 K and
// the cup's lag at most, so that sums over them are integrals over time: to 1e-5 relative even where the air jumps by 30 K.
// moistureH is the integral of phi e/e_ref in hours, endCupC the cup's temperature when the step is over.
//
// A step that is not longer than zero visits nothing.
func Trace(p Place, s Step, cupC float64, visit func(hours, cupC float64)) (moistureH, endCupC float64) {
	if s.Duration <= 0 {
		return 0, cupC
	}
	s = s.clamped()
	from, to := s.From, s.To
	if s.Kind == Stale {
		from, to = halfWay(from, s.Worst), halfWay(to, s.Worst)
	}
	hours := s.Duration.Hours()
	cup := newCourse(from.TemperatureC, to.TemperatureC, cupC, p.lagH(), hours)
	n := max(s.chunks(hours), int(min(math.Ceil(hours/0.25), mostStretches)))
	if lagH := p.lagH(); lagH > 0 {
		// A cup that comes in from the cold warms fastest at first.
		const steepestK = 4.0
		byCup := math.Abs(cupC-from.TemperatureC) / steepestK * min(hours/lagH, 1)
		n = max(n, int(min(math.Ceil(max(1, byCup)*max(1, hours/lagH)), mostStretches)))
	}
	width := hours / float64(n)
	for k := range n {
		for j, node := range gauss3.nodes {
			visit(width*gauss3.weights[j], cup.at((float64(k)+node)*width))
		}
	}
	return p.exposure() * vapourIntegral(from, to, hours) / referenceVapourPa, cup.end()
}

// halfWay is the middle between the last air and the worst, where the nominal stands while nobody measures.
func halfWay(last, worst air.State) air.State { return air.Lerp(last, worstOf(last, worst), 0.5) }
