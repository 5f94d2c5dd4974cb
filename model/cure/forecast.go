package cure

import (
	"math"
	"time"

	"potlifed/model/air"
)

// Ends are the ages, counted from the first hardener, at which 50, 10 and 90 % of all batches
// like this one are over, given that it was good at the last Good. Low ≤ Expected ≤ High. An end in the
// past is the instant at which the risk passed its level; it stays until the next Good.
type Ends struct {
	Expected, Low, High time.Duration
	// AdhesionFirst: of the two ends that are known of the batch the adhesion end (see [Ensemble.Adhere]) is
	// more likely than the visible one to have passed at Expected.
	AdhesionFirst bool
}

// Horizon limits a forecast; a later end is set to it. Air so cold and dry that an ink lives for
// years is outside the use of the program.
const Horizon = 10 * 365 * 24 * time.Hour

// gridPerLife is how many pieces of a forecast reach to the remaining life of the nominal
// member. The pieces grow with the square of their number, as the drift grows with the square
// root of time.
const gridPerLife = 12

// outlook is what a forecast assumes of the air to come.
type outlook struct {
	steady       bool
	towardsWorst bool
	worst        air.State
	path         *air.Path
}

// ForecastOption changes what a forecast assumes.
type ForecastOption func(*outlook)

// WithoutDrift makes the forecast assume that the air stays exactly as it is.
func WithoutDrift() ForecastOption { return func(o *outlook) { o.steady = true } }

// TowardsWorst makes the forecast assume stale air: each member stays at its own point between
// the last values (with [Along], those of the path) and the worst air of the last 24 hours, as in a
// Stale step, and drifts from there. The age of the last reading is included.
func TowardsWorst(worst air.State) ForecastOption {
	return func(o *outlook) { o.towardsWorst, o.worst = true, worst.Clamp() }
}

// Along makes the forecast assume that the air changes along a path, counted from the reading
// that the forecast starts from. The members stray from the path by the errors that such paths
// had. nil changes nothing.
func Along(path *air.Path) ForecastOption { return func(o *outlook) { o.path = path } }

// Forecast returns when the batch will be over if it stays at this place. now is the air as far
// as it is known, and held is the age of the reading that now comes from. The air of each member
// drifts away by its own draw times 0.5 K and 3 % RH per square root of an hour, counted from
// the reading, within the limits of package air; with [Along] it follows a path.
//
// In steady air and with WithoutDrift the ends do not move as the age advances. With drift they
// move earlier slowly.
func (c *Ensemble) Forecast(p Place, now air.State, held time.Duration, options ...ForecastOption) Ends {
	var view outlook
	for _, option := range options {
		option(&view)
	}
	ends := c.crossed
	adhesionFirst := ends[expected] != notCrossed && c.adhesionFirst(c.now.dose)
	if ends[high] == notCrossed {
		adhesionFirst = c.lookAhead(p, now.Clamp(), held, view, &ends) || adhesionFirst
	}
	ends[expected] = max(ends[expected], ends[low])
	ends[high] = max(ends[high], ends[expected])
	return Ends{Low: ends[low], Expected: ends[expected], High: ends[high], AdhesionFirst: adhesionFirst}
}

// lookAhead advances a copy of the members until the risk has passed the levels that it has not
// passed yet. It reports whether the adhesion end is the more likely one to have passed at the expected end.
func (c *Ensemble) lookAhead(p Place, now air.State, held time.Duration, view outlook, ends *[levels]time.Duration) (adhesionFirst bool) {
	phi := c.exposures(p.exposure())
	before, after, work := newState(len(c.members)), newState(len(c.members)), newState(len(c.members))
	after.copyFrom(c.now)
	heldH := max(held, 0).Hours()
	// 1e-2 h limits the number of pieces in air so hot that the grid would otherwise be too
	// fine.
	scale := max(1/c.Rate(p, now), 1e-2)
	horizon := Horizon.Hours()
	t := 0.0
	for k := 1; t < horizon; k++ {
		next := view.next(t, scale*float64(k*k)/(gridPerLife*gridPerLife), horizon)
		pc := view.piece(now, heldH, t, next)
		pc.lagH = p.lagH()
		before.copyFrom(after)
		after.advance(c.members, phi, &pc)
		risk := c.riskOf(after.dose)
		for level := range ends {
			if ends[level] == notCrossed && risk >= levelRisk[level] {
				f := c.crossing(before, &pc, phi, work, levelRisk[level])
				ends[level] = c.ahead(t + f*pc.hours)
				adhesionFirst = adhesionFirst || level == expected && c.adhesionFirst(after.dose)
			}
		}
		if ends[high] != notCrossed {
			return adhesionFirst
		}
		t = next
	}
	for level := range ends {
		if ends[level] == notCrossed {
			ends[level] = c.ahead(horizon)
		}
	}
	return adhesionFirst
}

// next returns where the piece that starts at t hours ends: at the next point of the grid. Along
// a path no piece is longer than an hour or two while the path has hourly values, since longer
// pieces would miss the course of the day.
func (o *outlook) next(t, grid, horizon float64) float64 {
	if longest := 1.5 + t/60; o.path != nil && grid-t > longest {
		return min(t+longest, horizon)
	}
	return min(grid, horizon)
}

// piece returns the air from t to next, in hours from now. The reading that now comes from is so
// many hours old.
func (o *outlook) piece(now air.State, heldH, t, next float64) piece {
	pc := piece{hours: next - t, from: now, to: now, towardsWorst: o.towardsWorst, worst: o.worst, apart: 1}
	switch {
	case o.steady:
	case o.path != nil:
		var from, to air.State
		from, pc.strayFrom, pc.together = o.path.At(heldH + t)
		to, pc.strayTo, _ = o.path.At(heldH + next)
		pc.apart = math.Sqrt(max(1-pc.together*pc.together, 0))
		pc.from, pc.to = from, to
	default:
		pc.strayFrom, pc.strayTo = drifted(math.Sqrt(heldH+t), 0, 0), drifted(math.Sqrt(heldH+next), 0, 0)
	}
	return pc
}

// ahead returns the age so many hours from now. It is never the present age: an end that has not
// been passed is at least a nanosecond away.
func (c *Ensemble) ahead(hours float64) time.Duration {
	return later(c.age, max(hoursToDuration(hours), 1))
}
