package cure

import (
	"math"

	"potlifed/model/air"
)

// piece is a short stretch of air over which all members advance. It is so short that the
// temperature of the air changes by a few kelvins at most, so that two points integrate it to
// 1e-4.
type piece struct {
	hours    float64
	lagH     float64
	from, to air.State // within the limits of package air
	// strayFrom and strayTo are one standard deviation of the members' own drift at both ends,
	// in K and % RH.
	strayFrom, strayTo air.State
	// together is the correlation of both strays; apart is the share that is independent for the
	// humidity, √(1 - together²).
	together, apart float64
	// towardsWorst: the air is not measured. Each member has its own point between the air above
	// and worst.
	towardsWorst bool
	worst        air.State
}

// part returns the first f of the piece.
func (p piece) part(f float64) piece {
	p.to = air.Lerp(p.from, p.to, f)
	p.strayTo = air.Lerp(p.strayFrom, p.strayTo, f)
	p.hours *= f
	return p
}

// memberAir returns the air of one member when the piece has the air a and a stray.
func (p *piece) memberAir(m *member, a, stray air.State) air.State {
	if p.towardsWorst {
		a = air.Lerp(a, worstOf(a, p.worst), m.towardsWorst)
	}
	a.TemperatureC += m.biasTemperature + stray.TemperatureC*m.driftTemperature
	a.HumidityPct += m.biasHumidity + stray.HumidityPct*(p.together*m.driftTemperature+p.apart*m.driftHumidity)
	return air.State{
		TemperatureC: min(max(a.TemperatureC, air.MinTemperatureC), air.MaxTemperatureC),
		HumidityPct:  min(max(a.HumidityPct, air.MinHumidityPct), air.MaxHumidityPct),
	}
}

// worstOf returns the worst air, which is never milder than the last reading.
func worstOf(last, worst air.State) air.State {
	return air.State{
		TemperatureC: max(last.TemperatureC, worst.TemperatureC),
		HumidityPct:  max(last.HumidityPct, worst.HumidityPct),
	}
}

// expansionK is how far from its centre the shared expansion of the saturation pressure is
// accurate enough. Beyond it the formula is used.
const expansionK = 6.0

// state is what changes of the members: the spent life and the cup temperature in °C of each.
type state struct{ dose, cup []float64 }

func newState(n int) state {
	both := make([]float64, 2*n)
	return state{dose: both[:n:n], cup: both[n:]}
}

// stateRoom is memory for a state of [Members] members on the stack.
type stateRoom [2 * Members]float64

// state returns a state of n members, which has the room only if it is large enough: an ensemble that was
// stored may have more members.
func (r *stateRoom) state(n int) state {
	if 2*n > len(r) {
		return newState(n)
	}
	return state{dose: r[:n:n], cup: r[n : 2*n]}
}

func (s state) copyFrom(o state) {
	copy(s.dose, o.dose)
	copy(s.cup, o.cup)
}

// gentle reports whether the air changes so little within the piece that its middle represents
// all of it to 1e-5. This holds for every piece of a minute without changes, which is most of
// what a running shop calculates.
func (p *piece) gentle() bool {
	return math.Abs(p.to.TemperatureC-p.from.TemperatureC) <= 0.25 && math.Abs(p.to.HumidityPct-p.from.HumidityPct) <= 1 &&
		math.Abs(p.strayTo.TemperatureC-p.strayFrom.TemperatureC) <= 0.05 && math.Abs(p.strayTo.HumidityPct-p.strayFrom.HumidityPct) <= 0.3
}

// advance advances all members over a piece. phi holds the exposure of each.
func (s state) advance(members []member, phi []float64, p *piece) {
	if !(p.hours > 0) {
		return
	}
	points := gauss2
	if p.gentle() {
		points = middle
	}
	var around [2]air.Saturation
	var centres [2]float64
	for j, g := range points.nodes {
		centres[j] = p.from.TemperatureC + g*(p.to.TemperatureC-p.from.TemperatureC)
		around[j] = air.SaturationAround(centres[j])
	}
	// The piece in lags of the cup, and the lag in pieces; both 0 without a lag.
	inLags, perPiece := 0.0, p.lagH/p.hours
	if p.lagH > 0 {
		inLags = p.hours / p.lagH
	}
	for i := range members {
		m := &members[i]
		from, to := p.memberAir(m, p.from, p.strayFrom), p.memberAir(m, p.to, p.strayTo)
		vapour := 0.0
		for j, g := range points.nodes {
			a := air.Lerp(from, to, g)
			pressure := 0.0
			if math.Abs(a.TemperatureC-centres[j]) <= expansionK {
				pressure = around[j].PressurePa(a.TemperatureC)
			} else {
				pressure = air.SaturationPressurePa(a.TemperatureC)
			}
			vapour += points.weights[j] * a.HumidityPct * pressure
		}
		heat, cup, ok := m.gentlePath(p.hours, inLags*m.perLagFactor, perPiece*m.lagFactor, from.TemperatureC, to.TemperatureC, s.cup[i])
		if !ok {
			heat, cup = m.heatPath(p.hours, p.lagH*m.lagFactor, from.TemperatureC, to.TemperatureC, s.cup[i])
		}
		s.dose[i] += m.heat*heat + m.moisture*phi[i]*vapour*p.hours*(1.0/100)
		s.cup[i] = cup
	}
}

// gentleK: where a cup's temperature changes by no more than this in a piece, k at the mean
// temperature is the mean of k to 3e-5.
const gentleK = 0.2

// heatPath returns the member's ∫ k dt over a piece and the temperature of the cup at its end.
// It evaluates k once or at two points where that is accurate enough, which is so for every
// piece of a minute, and otherwise uses the accurate integral.
func (m *member) heatPath(hours, tauH, from, to, cup float64) (heatH, cupC float64) {
	if tauH == 0 {
		if math.Abs(to-from) <= gentleK {
			return hours * m.arrhenius(0.5*(from+to)), to
		}
		first := m.arrhenius(from + gauss2.nodes[0]*(to-from))
		second := m.arrhenius(from + gauss2.nodes[1]*(to-from))
		return hours * 0.5 * (first + second), to
	}
	x := hours / tauH
	if heatH, cupC, ok := m.gentlePath(hours, x, 1/x, from, to, cup); ok {
		return heatH, cupC
	}
	behind := (to - from) / x // by how much a settled cup is behind the air
	amplitude := cup - from + behind
	if x > 0.5 {
		if heatH, cupC, ok := m.settledPath(hours, tauH, from, to, amplitude); ok {
			return heatH, cupC
		}
	}
	if x < 1e-3 || x > 0.5 || math.Abs(amplitude) > 8 {
		// This is also used for very short steps, for which the form below loses digits.
		c := newCourse(from, to, cup, tauH, hours)
		return c.heatIntegral(m.activationK, gauss3), c.end()
	}
	settled := from - behind
	first := settled + (to-from)*gauss2.nodes[0] + amplitude*decay(x*gauss2.nodes[0])
	second := settled + (to-from)*gauss2.nodes[1] + amplitude*decay(x*gauss2.nodes[1])
	heatH = hours * 0.5 * (m.arrhenius(first) + m.arrhenius(second))
	return heatH, settled + (to - from) + amplitude*decay(x)
}

// gentlePath is heatPath for a piece of x lags in which the cup's temperature changes so little that k at
// its mean is enough; perX is 1/x. ok is false for another. It has one division, since divisions and exponentials
// are most of what a minute costs.
func (m *member) gentlePath(hours, x, perX, from, to, cup float64) (heatH, cupC float64, ok bool) {
	behind := (to - from) * perX // by how much a settled cup is behind the air
	amplitude := cup - from + behind
	if !(x >= 1e-6 && math.Abs(to-from)+math.Abs(amplitude)*min(x, 1) <= gentleK) {
		return 0, 0, false
	}
	left := decay(x)
	mean := 0.5*(from+to) - behind + amplitude*(1-left)*perX
	return hours * m.arrhenius(mean), to - behind + amplitude*left, true
}

// settledPath is heatPath for a piece longer than half the lag, in which the cup comes close to
// its settled course T_s, which is slope·tau behind the air. It evaluates k of that course at
// two points and adds the effect of the cup's initial deviation. With v = t/tau, k(T_s) = k0
// exp(b v) and
//
//	k(T_s + A exp(-v)) = k(T_s) exp(cA exp(-v) - d exp(-2v)),  c = Ea/(R T²), d = cA·A/T
//
// each power of exp(-v) has a closed integral. The result is right to 1e-4 for |cA| ≤ 0.1, |b| ≤
// 0.5 and a course of 2.5 K; ok is false outside.
func (m *member) settledPath(hours, tauH, from, to, amplitude float64) (heatH, cupC float64, ok bool) {
	x := hours / tauH
	rise := (to - from) / x // in tau
	settled := from - rise
	// c at the time that matters most for the cup's approach: halfway through a short piece, one
	// tau into a long one.
	kelvin := settled + rise*min(0.5*x, 0.8) + zeroCelsiusK
	c := m.activationK / (kelvin * kelvin)
	ca, b := c*amplitude, c*rise
	if !(math.Abs(ca) <= 0.1 && math.Abs(b) <= 0.5 && math.Abs(to-from) <= 2.5) {
		return 0, 0, false
	}
	first := settled + gauss2.nodes[0]*(to-from)
	k1 := m.arrhenius(first)
	// The other k are calculated from the first: their exponents are small.
	ratio := func(t float64) float64 {
		return expSmall(m.activationK * (t - first) / ((t + zeroCelsiusK) * (first + zeroCelsiusK)))
	}
	k2, k0 := k1*ratio(settled+gauss2.nodes[1]*(to-from)), k1*ratio(settled)
	q := decay(x)
	q2, d, growth := q*q, ca*amplitude/kelvin, expSmall(b*x)
	added := ca*(1-q*growth)/(1-b) + (ca*ca*0.5-d)*(1-q2*growth)/(2-b) + ca*(ca*ca*(1.0/6)-d)*(1-q2*q*growth)/(3-b) +
		ca*ca*ca*ca*(1.0/24)*(1-q2*q2*growth)/(4-b)
	return hours*0.5*(k1+k2) + k0*tauH*added, settled + (to - from) + amplitude*q, true
}

// arrhenius returns k at a temperature in °C: the function of the same name, right to 3e-10.
func (m *member) arrhenius(temperatureC float64) float64 {
	return expTabled(m.activationK * (1/(ReferenceTemperatureC+zeroCelsiusK) - 1/(temperatureC+zeroCelsiusK)))
}

const (
	expReach   = 8  // the table reaches from exp(-8) to exp(8), beyond the members in any air
	expPerUnit = 16 // entries for each unit
)

// expTable holds exp at every sixteenth from -expReach to expReach.
var expTable = func() (all [2*expReach*expPerUnit + 1]float64) {
	for i := range all {
		all[i] = math.Exp(float64(i)/expPerUnit - expReach)
	}
	return all
}()

// expTabled returns exp(x), right to 3e-10: the nearest entry of the table times the first terms of the series
// of what is left, which is at most 1/32. Half of the time of a minute's advance would be spent in math.Exp.
func expTabled(x float64) float64 {
	if !(x > -expReach && x < expReach) {
		return math.Exp(x)
	}
	n := int((x+expReach)*expPerUnit + 0.5)
	y := x - (float64(n)*(1.0/expPerUnit) - expReach)
	return expTable[n] * (1 + y*(1+y*(1.0/2)*(1+y*(1.0/3)*(1+y*(1.0/4)))))
}

// expSmall returns exp(y), right to 2e-8 for |y| ≤ 1/4 and to 4e-7 for |y| ≤ 0.4. With math.Exp,
// a third of the time of a minute's advance would be spent in it.
func expSmall(y float64) float64 {
	return 1 + y*(1+y*(1.0/2)*(1+y*(1.0/3)*(1+y*(1.0/4)*(1+y*(1.0/5)*(1+y*(1.0/6))))))
}

// decay returns exp(-x) for x ≥ 0.
func decay(x float64) float64 {
	if x > 0.25 {
		return math.Exp(-x)
	}
	return expSmall(-x)
}
