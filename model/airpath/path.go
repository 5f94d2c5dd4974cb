// Package airpath keeps the air of one zone as a path of steps: straight lines between
// readings, the last values held while a sensor is silent, and a bridge over the time in
// which nobody read.
//
// A step is closed when a reading leaves its line, when a minute is over, or when
// something happens to a batch in the zone. Closed steps go into the journal ([Closed]);
// the end of the path that is still open ([Path]) is lost at a restart, and what is lost
// is bridged.
//
// The package is pure: it has no clock, and a caller hands in what it knows of the
// sensors ([Sensors]).
//
// Invariants, for instants that do not fall: each step begins where the one before ended;
// no step has a negative length; no step ends later than the time of the call that closed
// it; the line of a measured step differs from no reading in it by more than twice
// [air.SameWithinC] and [air.SameWithinPct].
package airpath

import (
	"math"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// Sensors says what is known of the sensors of a zone.
type Sensors struct {
	// Fresh is how old a reading may be and still count as the present air. It is negative
	// while no sensor of the zone was read in this run.
	Fresh time.Duration
	// StaleAfter is how old the last reading may be before the air counts as missing.
	StaleAfter time.Duration
	// Doubtful reports whether a sensor's reading of this air, at this time, is uncertain.
	Doubtful func(a air.State, at time.Time) bool
}

// Path is the open end of a zone's path: what was read since its last closed step. The
// zero value is that of a run which has read nothing. The closed part is handed to each
// call, since it is the journal's.
//
// The steps that a method returns have to be appended to the closed part in their order,
// with [Closed.With], before the next call.
type Path struct {
	// read and value are the newest reading on the path; read is zero when there was none
	// since the last closed step.
	read  time.Time
	value air.State
	// habit is learned from the hours between two; nil while they are too few.
	habit        *air.Habit
	habitOfHours [2]int64
}

// closing is one call that closes steps.
type closing struct {
	path   *Path
	closed Closed
	with   Sensors
	steps  []Step
}

// Read takes in a reading and returns the steps that it closes.
func (p *Path) Read(closed Closed, a air.State, at time.Time, with Sensors) []Step {
	if at.Before(closed.Until) { // the reading came in after an event that closed the step
		at = closed.Until
	}
	c := &closing{path: p, closed: closed, with: with}
	was, had := p.value, !p.read.IsZero()
	switch {
	case closed.Bridged: // a line from the last reading to the first one of this run
		bridge := cure.Step{From: closed.Air, To: a, Kind: cure.Bridged, Uncertain: true}
		p.setDrift(closed, &bridge)
		c.close(at, bridge, a, at)
	case closed.ReadAt.IsZero() || at.Sub(p.LastRead(closed)) > with.Fresh: // the zone was silent
		c.hold(at)
		c.close(at, cure.Step{Kind: cure.Measured, From: a, To: a}, a, at)
	case !had:
		if far(closed.Air, a) {
			c.measured(at, closed.Air, a, at)
		}
	case far(closed.Air, a) || far(was, a):
		c.measured(p.read, closed.Air, was, p.read)
		c.measured(at, was, a, at)
	}
	p.read, p.value = at, a
	if c.closed.Until.Equal(at) {
		p.read = time.Time{}
	}
	return c.steps
}

// CloseTo returns the steps that close the path up to now, before something happens to a
// batch in the zone.
func (p *Path) CloseTo(closed Closed, now time.Time, with Sensors) []Step {
	c := &closing{path: p, closed: closed, with: with}
	read := p.LastRead(closed)
	if closed.Bridged || now.Sub(read) > with.Fresh {
		c.hold(now)
		return c.steps
	}
	last := closed.Air
	if !p.read.IsZero() {
		c.measured(p.read, closed.Air, p.value, p.read)
		last = p.value
	}
	if now.After(c.closed.Until) {
		c.measured(now, last, last, read)
	}
	return c.steps
}

// CloseMinute returns the steps that close the path when a whole minute has passed since
// its end, none otherwise. The path is closed at a reading, the first one of a minute: at one of
// the minute before, there would be a second step for the seconds between the two. A path that
// waits for the first reading of a run is left open while mayBridge: that reading may still bridge
// the gap.
func (p *Path) CloseMinute(closed Closed, now time.Time, mayBridge bool, with Sensors) []Step {
	later := func(at time.Time) bool { return at.Truncate(time.Minute).After(closed.Until.Truncate(time.Minute)) }
	if !later(now) {
		return nil
	}
	c := &closing{path: p, closed: closed, with: with}
	switch {
	case closed.Bridged && mayBridge:
	case closed.Bridged, now.Sub(p.LastRead(closed)) > with.Fresh:
		c.hold(now)
	case later(p.read):
		c.measured(p.read, closed.Air, p.value, p.read)
	}
	return c.steps
}

// Open returns the step from the end of the closed path to now, as far as it is known.
func (p *Path) Open(closed Closed, now time.Time, with Sensors) cure.Step {
	step := cure.Step{Duration: now.Sub(closed.Until), From: closed.Air, To: closed.Air, Kind: cure.Held}
	read := p.LastRead(closed)
	step.Held = closed.Until.Sub(read)
	p.setDrift(closed, &step)
	age := now.Sub(read)
	switch {
	case read.IsZero() || age > with.StaleAfter:
		step.Kind, step.Worst, step.Uncertain = cure.Stale, closed.worst(), true
		if read.IsZero() {
			step.Held = 0
		}
	case age > with.Fresh:
		step.Uncertain = true
	default:
		step.Kind = cure.Measured
		if !p.read.IsZero() {
			step.To = p.value
		}
	}
	return step
}

// Unread returns the step from the end of the closed path to now in a zone that nobody
// reads any more.
func Unread(closed Closed, now time.Time) cure.Step {
	return cure.Step{
		Duration: now.Sub(closed.Until), From: closed.Air, To: closed.Air, Kind: cure.Stale, Worst: closed.worst(), Uncertain: true,
	}
}

// LastRead returns the time of the zone's newest reading, of this run or of one before;
// zero if there was none.
func (p *Path) LastRead(closed Closed) time.Time {
	if !p.read.IsZero() {
		return p.read
	}
	return closed.ReadAt
}

// Value returns the zone's newest air and whether it was ever measured.
func (p *Path) Value(closed Closed) (a air.State, measured bool) {
	switch {
	case !p.read.IsZero():
		return p.value, true
	case closed.ReadAt.IsZero():
		return Unmeasured, false
	}
	return closed.Air, true
}

// habitFor returns what the zone's air usually does, nil while too little is known. It is
// learned again when an hour is over.
func (p *Path) habitFor(closed Closed) *air.Habit {
	if of := [2]int64{closed.Hours.First, closed.Hours.End()}; p.habitOfHours != of {
		p.habit, _ = closed.Hours.Habit()
		p.habitOfHours = of
	}
	return p.habit
}

// setDrift notes in a step without readings how far the zone's air usually strays.
func (p *Path) setDrift(closed Closed, step *cure.Step) {
	if habit := p.habitFor(closed); habit != nil {
		perRoot := habit.PerRootHour()
		step.DriftK, step.DriftPct = perRoot.TemperatureC, perRoot.HumidityPct
	}
}

// far reports whether a reading ends a line.
func far(a, b air.State) bool {
	return math.Abs(a.TemperatureC-b.TemperatureC) > air.SameWithinC || math.Abs(a.HumidityPct-b.HumidityPct) > air.SameWithinPct
}

// measured closes a step of measured air, a straight line from one value to another.
func (c *closing) measured(end time.Time, from, to air.State, readAt time.Time) {
	c.close(end, cure.Step{From: from, To: to, Kind: cure.Measured, Uncertain: c.with.Doubtful(to, end)}, to, readAt)
}

// hold closes steps up to end without a reading: with the last values while they are not
// stale, and after that with what the air may have become.
func (c *closing) hold(end time.Time) {
	first, read, last := c.closed, c.path.LastRead(c.closed), c.closed.Air
	if r := c.path.read; !r.IsZero() && r.After(c.closed.Until) {
		c.measured(r, c.closed.Air, c.path.value, r)
		last = c.path.value
	}
	border := read.Add(c.with.StaleAfter)
	for end.After(c.closed.Until) {
		start, stop := c.closed.Until, end
		step := cure.Step{From: last, To: last, Kind: cure.Held, Held: start.Sub(read), Uncertain: true}
		c.path.setDrift(first, &step)
		switch {
		case read.IsZero(), !start.Before(border):
			step.Kind, step.Worst = cure.Stale, c.closed.worst()
			if read.IsZero() {
				step.Held = 0
			}
		case border.Before(end):
			stop = border
		}
		c.close(stop, step, last, read)
	}
}

// close closes one step at end.
func (c *closing) close(end time.Time, step cure.Step, after air.State, readAt time.Time) {
	step.Duration = end.Sub(c.closed.Until)
	if step.Duration < 0 {
		return
	}
	s := Step{Start: c.closed.Until, Step: step, After: after, ReadAt: readAt}
	c.closed = c.closed.With(s)
	c.steps = append(c.steps, s)
	if !c.path.read.After(end) {
		c.path.read = time.Time{}
	}
}
