package cure

import (
	"math"
	"slices"
	"time"

	"potlifed/model/air"
)

// StepKind says how the air of a step is known.
type StepKind string

// The kinds of step. Anything else is taken as Measured.
const (
	// Measured: readings at both ends.
	Measured StepKind = "measured"
	// Held: the last values hold a little longer; each member drifts away from them with the square root of the reading's age.
	Held StepKind = "held"
	// Stale: nobody has measured for too long. Each member has its own point between the last values and the worst air of the last day;
	// the nominal takes the middle.
	Stale StepKind = "stale"
	// Bridged: nothing is known between the two ends. A straight line, and each member strays from it, most in the middle.
	Bridged StepKind = "bridged"
)

// Step is a stretch of a zone's air: temperature and humidity each go in a straight line from From to To.
type Step struct {
	Duration time.Duration `json:"duration_ns"`
	From     air.State     `json:"from"`
	To       air.State     `json:"to"`
	Kind     StepKind      `json:"kind"`
	// Held is the age of the last reading when the step starts; for a held step.
	Held time.Duration `json:"held_ns,omitempty"`
	// Worst is the warmest and the most humid air of the zone's last 24 hours; for a stale step.
	Worst air.State `json:"worst,omitzero"`
	// DriftK and DriftPct are how far the zone's air strays in the square root of an hour, for a held or bridged step; 0 for the default.
	DriftK   float64 `json:"drift_k,omitempty"`
	DriftPct float64 `json:"drift_pct,omitempty"`
	// Uncertain says that the air's quality was less than good.
	Uncertain bool `json:"uncertain,omitempty"`
}

// doubtful says whether the step's dose counts towards DoubtfulShare.
func (s Step) doubtful() bool { return s.Uncertain || s.Kind == Stale || s.Kind == Bridged }

// clamped is the step with its air inside the physics limits.
func (s Step) clamped() Step {
	s.From, s.To, s.Worst = s.From.Clamp(), s.To.Clamp(), s.Worst.Clamp()
	return s
}

// stray is how far the members stray t hours into a step of so many hours: with the square root of the hours since the air was known, and
// in a bridged step as a random walk tied to both ends.
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

// drifted is a drift per square root of an hour after so many of them; what is not known of it is the default.
func drifted(root, perRootK, perRootPct float64) air.State {
	if !(perRootK > 0) {
		perRootK = air.DriftTemperatureK
	}
	if !(perRootPct > 0) {
		perRootPct = air.DriftHumidityPct
	}
	return air.State{TemperatureC: min(root*perRootK, mostStray), HumidityPct: min(root*perRootPct, mostStray)}
}

// mostStray keeps a drift of many years a number that can be computed with.
const mostStray = 1e6

// chunks is into how many pieces the members take the step: of 2 K, so that two points integrate each; of an hour, and where they stray
// with a square root of a quarter of one.
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

// piece is the k-th of n pieces of the step.
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

// Advance lets the batch live through a step of air at a place, in place and without allocating (but for a level that is crossed, and a
// place with another exposure). A step that is not longer than zero does nothing.
//
// The nominal's dose is right to 1e-9 relative whatever the step's length, the members' to 1e-4; one long step equals the short steps it
// is made of, but for the members' drift, which is straight inside a quarter of an hour, and for members whose own air is cut off at the
// physics limits. Air outside the physics limits is taken as the
// nearest inside.
func (c *Cloud) Advance(p Place, s Step) {
	if s.Duration <= 0 {
		return
	}
	s = s.clamped()
	c.enter(p)
	c.nominal.advance(c.ink, p, s)
	hours, lagH := s.Duration.Hours(), p.lagH()
	n := s.chunks(hours)
	for k := range n {
		pc := s.piece(k, n, hours, lagH)
		start := c.scratch[0]
		start.copyFrom(c.now)
		c.now.advance(c.members, c.phi, &pc)
		c.noteCrossings(start, &pc, later(c.age, hoursToDuration(hours*float64(k)/float64(n))), later(c.age, s.Duration))
	}
	c.age = later(c.age, s.Duration)
	c.lastAir = s.To
}

// enter takes note of the place.
func (c *Cloud) enter(p Place) {
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
func (c *Cloud) noteCrossings(start state, p *piece, startAge, endAge time.Duration) {
	if c.crossed[high] != notCrossed || c.riskBelowNextLevel() {
		return
	}
	risk := c.Risk()
	c.ceiling.set(c.alive, c.members, c.now.dose, c.gap, risk)
	for level := range c.crossed {
		if c.crossed[level] == notCrossed && risk >= levelRisk[level] {
			f := c.crossing(start, p, c.phi, c.scratch[1], levelRisk[level])
			c.crossed[level] = min(later(startAge, hoursToDuration(f*p.hours)), endAge)
		}
	}
}

// riskBelowNextLevel is a cheap test that spares the risk of every member in most minutes.
func (c *Cloud) riskBelowNextLevel() bool {
	next := low
	for c.crossed[next] != notCrossed {
		next++
	}
	if c.ceiling.of(c.now.dose) < levelRisk[next] {
		return true
	}
	return c.gap == nil && c.alive.ceilingFor(len(c.members), slices.Max(c.now.dose), c.maxSigma) < levelRisk[next]
}

// crossing is the part of a piece after which the risk reaches a level that it has reached at the end of the piece: a bracketed secant
// (Illinois) over the piece's own integral, so it does not depend on how long the piece is. work is overwritten.
func (c *Cloud) crossing(start state, p *piece, phi []float64, work state, level float64) float64 {
	miss := func(f float64) float64 {
		part := p.part(f)
		work.copyFrom(start)
		work.advance(c.members, phi, &part)
		return c.alive.risk(c.members, work.dose, c.gap) - level
	}
	a, b := 0.0, 1.0
	missA, missB := c.alive.risk(c.members, start.dose, c.gap)-level, miss(1)
	if missA >= 0 {
		return 0
	}
	const precise = 1e-9 // hours
	last := 0            // the end that moved last
	for range 60 {
		if (b-a)*p.hours <= precise || missB <= 0 {
			break
		}
		f := (a*missB - b*missA) / (missB - missA)
		at := miss(f)
		switch {
		case math.Abs(at) < 1e-13:
			return f
		case at < 0:
			a, missA = f, at
			if last == -1 {
				missB /= 2
			}
			last = -1
		default:
			b, missB = f, at
			if last == 1 {
				missA /= 2
			}
			last = 1
		}
	}
	return b
}
