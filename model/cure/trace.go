package cure

import (
	"math"

	"potlifed/model/air"
)

// mostStretches limits the work for a step of days with a lag of seconds. The cup has settled
// long before.
const mostStretches = 2000

// LnHeat returns ln k(T) for an activation energy of 1 kJ/mol and a temperature in °C: k(T) =
// exp(activation · LnHeat(T)). It is 0 at 20 °C.
func LnHeat(temperatureC float64) float64 {
	return (1/(ReferenceTemperatureC+zeroCelsiusK) - 1/(temperatureC+zeroCelsiusK)) / gasConstant
}

// Trace calculates what a cup at cupC °C experiences during a step, independent of the ink. It
// calls visit with stretches in hours during which the cup has one temperature. Sums over these
// stretches are integrals over time, by a 3-point rule over at most a quarter of an hour, 2 K
// and the cup's lag; they are right to 1e-5 relative even where the air jumps by 30 K. moistureH
// is the integral of phi e/e_ref in hours. endCupC is the temperature of the cup at the end, in
// °C.
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
		// The temperature of a cup that comes in from the cold rises fastest at first.
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

// halfWay returns the middle between the last air and the worst one, which the nominal member
// uses while nobody measures.
func halfWay(last, worst air.State) air.State { return air.Lerp(last, worstOf(last, worst), 0.5) }
