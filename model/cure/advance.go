package cure

import (
	"math"
	"slices"
	"time"

	"potlifed/model/air"
)

// StepKind is how the air of a step is known.
type StepKind string

// The kinds of step. Any other word counts as Measured.
const (
	// Measured: readings at both ends.
	Measured StepKind = "measured"
	// Held: the last values are used a little longer. Each member drifts away from them with the
	// square root of the age of the reading.
	Held StepKind = "held"
	// Stale: the last reading is too old. Each member has its own point between the last values
	// and the worst air of the last day, most of them nearer to the last values. The nominal member
	// takes the middle.
	Stale StepKind = "stale"
	// Bridged: nothing is known between the two ends. The air is taken as a straight line; each
	// member strays from it, most in the middle.
	Bridged StepKind = "bridged"
)

// Step is the air of a zone over a stretch of time. Temperature and humidity change linearly
// from From to To.
type Step struct {
	Duration time.Duration `json:"duration_ns"`
	From     air.State     `json:"from"`
	To       air.State     `json:"to"`
	Kind     StepKind      `json:"kind"`
	// Held is the age of the last reading at the start of a held step.
	Held time.Duration `json:"held_ns,omitempty"`
	// Worst is the warmest and the most humid air of the zone's last 24 hours, for a stale step.
	Worst air.State `json:"worst,omitzero"`
	// DriftK and DriftPct are how far the zone's air strays in the square root of an hour, in K
	// and % RH, for a held or bridged step; 0 for the default.
	DriftK   float64 `json:"drift_k,omitempty"`
	DriftPct float64 `json:"drift_pct,omitempty"`
	// Uncertain: the quality of the air was less than good.
	Uncertain bool `json:"uncertain,omitempty"`
}

// doubtful reports whether the dose of the step counts towards DoubtfulShare.
func (s Step) doubtful() bool { return s.Uncertain || s.Kind == Stale || s.Kind == Bridged }

// clamped returns the step with its air inside the limits of package air.
func (s Step) clamped() Step {
	s.From, s.To, s.Worst = s.From.Clamp(), s.To.Clamp(), s.Worst.Clamp()
	return s
}

// stray returns how far the members stray t hours into a step of so many hours, in K and % RH.
// It grows with the square root of the hours since the air was known. In a bridged step it is
// that of a random walk tied to both ends.
func (s Step) stray(t, hours float64) air.State {
	root := 0.0
	switch s.Kind {
	case Held:
		root = math.Sqrt(max(s.Held, 0).Hours() + t)
	case Bridged:
		root = math.Sqrt(max(t*(hours-t)/hours, 0))
	}
	return drifted(root, s.DriftK, s.DriftPct)
}

// drifted returns the drift after a time whose square root in hours is given. A drift that is
// not known is the default.
func drifted(root, perRootK, perRootPct float64) air.State {
	if !(perRootK > 0) {
		perRootK = air.DriftTemperatureK
	}
	if !(perRootPct > 0) {
		perRootPct = air.DriftHumidityPct
	}
	return air.State{TemperatureC: min(root*perRootK, mostStray), HumidityPct: min(root*perRootPct, mostStray)}
}

// mostStray limits a drift of many years to a finite number.
const mostStray = 1e6

// chunks returns into how many pieces the members divide the step: pieces of at most 2 K, so
// that two points integrate each, of at most an hour, and of at most a quarter of an hour where
// they stray with a square root.
func (s Step) chunks(hours float64) int {
	const longestH, strayingH, steepestK, most = 1.0, 0.25, 2.0, 2000
	longest := longestH
	if s.Kind == Held || s.Kind == Bridged {
		longest = strayingH
	}
	byTime := math.Ceil(hours / longest)
	byTemperature := math.Ceil(math.Abs(s.To.TemperatureC-s.From.TemperatureC) / steepestK)
	return int(min(max(byTime, byTemperature, 1), most))
}

// piece returns the k-th of n pieces of the step.
func (s Step) piece(k, n int, hours, lagH float64) piece {
	from, to := float64(k)/float64(n), float64(k+1)/float64(n)
	return piece{
		hours:        hours / float64(n),
		lagH:         lagH,
		from:         air.Lerp(s.From, s.To, from),
		to:           air.Lerp(s.From, s.To, to),
		strayFrom:    s.stray(from*hours, hours),
		strayTo:      s.stray(to*hours, hours),
		apart:        1,
		towardsWorst: s.Kind == Stale,
		worst:        s.Worst,
	}
}

// Advance advances the batch through a step of air at a place. It changes the ensemble in place,
// without allocating memory (except when the risk passes a level and when the place has another
// exposure). A step that is not longer than zero changes nothing.
//
// The nominal dose is right to 1e-9 relative for any length of the step, the doses of the
// members to 1e-4. One long step gives the same as the short steps that it consists of, with two
// exceptions: the members' drift, which is linear within a quarter of an hour, and members whose
// own air reaches the limits of package air. Air outside these limits is replaced by the nearest
// inside.
func (c *Ensemble) Advance(p Place, s Step) {
	if s.Duration <= 0 {
		return
	}
	s = s.clamped()
	c.enter(p)
	c.nominal.advance(c.ink, p, s)
	hours, lagH := s.Duration.Hours(), p.lagH()
	n := s.chunks(hours)
	var room stateRoom
	start := room.state(len(c.members))
	for k := range n {
		pc := s.piece(k, n, hours, lagH)
		start.copyFrom(c.now)
		c.now.advance(c.members, c.phi, &pc)
		c.noteCrossings(start, &pc, later(c.age, hoursToDuration(hours*float64(k)/float64(n))), later(c.age, s.Duration))
	}
	c.age = later(c.age, s.Duration)
	c.lastAir = s.To
}

// enter notes the exposure of the place.
func (c *Ensemble) enter(p Place) {
	if phi := p.exposure(); c.phi == nil || phi != c.phiFor {
		c.phi, c.phiFor = c.exposures(phi), phi
	}
	c.lastExposure = c.phiFor
}

// advance adds a whole step to the nominal member.
func (n *nominal) advance(ink Ink, p Place, s Step) {
	from, to := s.From, s.To
	if s.Kind == Stale {
		from, to = air.Lerp(from, worstOf(from, s.Worst), 0.5), air.Lerp(to, worstOf(to, s.Worst), 0.5)
	}
	hours := s.Duration.Hours()
	cup := newCourse(from.TemperatureC, to.TemperatureC, n.CupC, p.lagH(), hours)
	heat := (1 - ink.MoistureShare) * cup.heatIntegral(ink.activationK(), gauss8)
	moisture := ink.MoistureShare * p.exposure() * vapourIntegral(from, to, hours) / referenceVapourPa
	dose := (heat + moisture) / ink.LRefH
	n.Dose += dose
	if s.doubtful() {
		n.Doubtful += dose
	}
	n.CupC = cup.end()
}

// noteCrossings finds the instants inside a piece at which the risk passed a level.
func (c *Ensemble) noteCrossings(start state, p *piece, startAge, endAge time.Duration) {
	if c.crossed[high] != notCrossed || c.riskBelowNextLevel() {
		return
	}
	risk := c.earlier(c.setCeilings(), c.now.dose)
	for level := range c.crossed {
		if c.crossed[level] == notCrossed && risk >= levelRisk[level] {
			f := c.crossing(start, p, c.phi, newState(len(c.members)), levelRisk[level])
			c.crossed[level] = min(later(startAge, hoursToDuration(f*p.hours)), endAge)
		}
	}
}

// riskBelowNextLevel is a cheap test that makes the risk of every member unnecessary in most
// minutes.
func (c *Ensemble) riskBelowNextLevel() bool {
	next := low
	for c.crossed[next] != notCrossed {
		next++
	}
	level := levelRisk[next]
	if c.adheres != nil {
		// The visible end must have passed with this probability for one of the two to reach the level.
		adhesion := c.adheres.mostRisk(c.ink.LRefH, c.now.dose, c.gap)
		if adhesion >= level {
			return false
		}
		level = (level - adhesion) / (1 - adhesion)
	}
	if len(c.heardAlive) > 0 {
		for i := range c.heardAlive {
			if c.heardCeiling[i].of(c.now.dose) >= level {
				return false
			}
		}
		return true
	}
	if c.ceiling.of(c.now.dose) < level {
		return true
	}
	return c.gap == nil && c.alive.ceilingFor(len(c.members), slices.Max(c.now.dose), c.maxSigma) < level
}

// setCeilings calculates the risk of the visible end exactly and the limits of it from here on.
func (c *Ensemble) setCeilings() float64 {
	if len(c.heardAlive) == 0 {
		risk := c.visibleRisk(c.now.dose)
		c.ceiling.set(c.alive, c.members, c.now.dose, c.gap, risk)
		return risk
	}
	most := 0.0
	for i := range c.heardAlive {
		t := &c.heard.told[i]
		risk := t.risk(c.heardAlive[i], c.now.dose, c.gap, 0)
		t.setCeiling(&c.heardCeiling[i], c.heardAlive[i], c.now.dose, c.gap, risk)
		most = max(most, risk)
	}
	return most
}

// crossing returns the part of a piece after which the risk reaches a level that it has reached
// at the end of the piece. It is found on the piece's own integral, so the result does not depend on the
// length of the piece. work is overwritten.
func (c *Ensemble) crossing(start state, p *piece, phi []float64, work state, level float64) float64 {
	miss := func(f float64) float64 {
		part := p.part(f)
		work.copyFrom(start)
		work.advance(c.members, phi, &part)
		return c.riskOf(work.dose) - level
	}
	a, b := 0.0, 1.0
	missA, missB := c.riskOf(start.dose)-level, miss(1)
	if missA >= 0 {
		return 0
	}
	if missB <= 0 {
		return 1
	}
	const precise = 1e-9 // hours
	return illinois(miss, a, b, missA, missB, precise/p.hours, 1e-13)
}

// illinois returns where a rising function is zero between a and b, where it has the values atA < 0 and atB > 0:
// the first place where it is less than enough from zero, or the upper end of a bracket that is not wider than
// width. It takes secants of the bracket, and halves the value at an end that stays (the Illinois method).
func illinois(of func(float64) float64, a, b, atA, atB, width, enough float64) float64 {
	last := 0 // the end that was moved last
	for range 60 {
		if b-a <= width {
			break
		}
		x := (a*atB - b*atA) / (atB - atA)
		at := of(x)
		switch {
		case math.Abs(at) < enough:
			return x
		case at < 0:
			a, atA = x, at
			if last == -1 {
				atB /= 2
			}
			last = -1
		default:
			b, atB = x, at
			if last == 1 {
				atA /= 2
			}
			last = 1
		}
	}
	return b
}
