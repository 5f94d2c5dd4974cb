package cure

import (
	"math"
	"time"

	"potlifed/model/air"
)

// Ends are ages, from the first hardener, at which 50, 10 and 90 % of all batches like this one are over, given that it was good at
// GoodAt. Low ≤ Expected ≤ High. An end that lies in the past is the instant at which the risk passed its level, and stays until the
// next Good.
type Ends struct{ Expected, Low, High time.Duration }

// Horizon is as far as a forecast looks; an end beyond it is put there. Air so cold and dry that an ink lives for years is outside what
// anybody asks.
const Horizon = 10 * 365 * 24 * time.Hour

// gridPerLife cuts a forecast into pieces that grow with the square of their number, as the drift does with the square root of time;
// the first so many reach to the nominal's remaining life.
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

// WithoutDrift takes the air to stay exactly as it is.
func WithoutDrift() ForecastOption { return func(o *outlook) { o.steady = true } }

// TowardsWorst is for stale air: each member stays at its own point between the last values and the worst air of the last 24 hours, as
// in a Stale step, and drifts from there, the age of the last reading included.
func TowardsWorst(worst air.State) ForecastOption {
	return func(o *outlook) { o.towardsWorst, o.worst = true, worst.Clamp() }
}

// Along lets the air go on as the zone's own record says, counted from the reading that the forecast starts from; the members stray
// from the path by what such paths were wrong by. nil is as if it was not given. With TowardsWorst only the stray is the path's.
func Along(path *air.Path) ForecastOption { return func(o *outlook) { o.path = path } }

// Forecast says when the batch will be over if it stays at this place in air that is, at best knowledge, as now. held is the age of the
// reading that now comes from. Each member's air drifts away by its own draw times 0.5 K and 3 % RH a square root of an hour, counted from
// the reading, inside the physics limits; Along gives it more to go by.
//
// In steady air and WithoutDrift the ends stand still as age advances. With drift they close in slowly.
func (c *Cloud) Forecast(p Place, now air.State, held time.Duration, options ...ForecastOption) Ends {
	var view outlook
	for _, option := range options {
		option(&view)
	}
	ends := c.crossed
	if ends[high] == notCrossed {
		c.lookAhead(p, now.Clamp(), held, view, &ends)
	}
	ends[expected] = max(ends[expected], ends[low])
	ends[high] = max(ends[high], ends[expected])
	return Ends{Low: ends[low], Expected: ends[expected], High: ends[high]}
}

// lookAhead lets a copy of the members live on until the risk has passed the levels that it has not yet passed.
func (c *Cloud) lookAhead(p Place, now air.State, held time.Duration, view outlook, ends *[levels]time.Duration) {
	phi := c.exposures(p.exposure())
	before, after, work := newState(len(c.members)), newState(len(c.members)), newState(len(c.members))
	after.copyFrom(c.now)
	heldH := max(held, 0).Hours()
	// 1e-2 h keeps the number of pieces bounded in air so hot that the grid would otherwise be too fine to get anywhere.
	scale := max(1/c.Rate(p, now), 1e-2)
	horizon := Horizon.Hours()
	t := 0.0
	for k := 1; t < horizon; k++ {
		next := view.next(t, scale*float64(k*k)/(gridPerLife*gridPerLife), horizon)
		pc := view.piece(now, heldH, t, next)
		pc.lagH = p.lagH()
		before.copyFrom(after)
		after.advance(c.members, phi, &pc)
		risk := c.alive.risk(c.members, after.dose, c.gap)
		for level := range ends {
			if ends[level] == notCrossed && risk >= levelRisk[level] {
				f := c.crossing(before, &pc, phi, work, levelRisk[level])
				ends[level] = c.ahead(t + f*pc.hours)
			}
		}
		if ends[high] != notCrossed {
			return
		}
		t = next
	}
	for level := range ends {
		if ends[level] == notCrossed {
			ends[level] = c.ahead(horizon)
		}
	}
}

// next is where the piece that starts at t hours ends: at the grid's next point. Along a path no piece is longer than an hour or two while
// the path goes on hour by hour, or the day's course would be cut off.
func (o *outlook) next(t, grid, horizon float64) float64 {
	if longest := 1.5 + t/60; o.path != nil && grid-t > longest {
		return min(t+longest, horizon)
	}
	return min(grid, horizon)
}

// piece is the air from t to next, in hours from now; the reading that now comes from is so many hours old.
func (o *outlook) piece(now air.State, heldH, t, next float64) piece {
	pc := piece{hours: next - t, from: now, to: now, towardsWorst: o.towardsWorst, worst: o.worst, apart: 1}
	switch {
	case o.steady:
	case o.path != nil:
		var from, to air.State
		from, pc.strayFrom, pc.together = o.path.At(heldH + t)
		to, pc.strayTo, _ = o.path.At(heldH + next)
		pc.apart = math.Sqrt(max(1-pc.together*pc.together, 0))
		if !o.towardsWorst {
			pc.from, pc.to = from, to
		}
	default:
		pc.strayFrom, pc.strayTo = drifted(math.Sqrt(heldH+t), 0, 0), drifted(math.Sqrt(heldH+next), 0, 0)
	}
	return pc
}

// ahead is an age so many hours from now. It is never now: an end that has not been passed leaves some time, if only a nanosecond.
func (c *Cloud) ahead(hours float64) time.Duration {
	return later(c.age, max(hoursToDuration(hours), 1))
}
