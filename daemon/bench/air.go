package bench

import (
	"errors"
	"fmt"
	"math"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/cure"
	"potlifed/model/health"
)

// sensor is a sensor with its newest readings. It rebuilds itself after a start.
type sensor struct {
	config.Sensor
	last     time.Time // of the newest good reading in this run
	air      air.State
	mono     time.Duration
	took     time.Duration
	ok       uint64
	errors   uint64
	rejected uint64
	failing  int    // readings that failed in a row
	failure  string // why
	// implausible: the last failure was a value that the air of a room cannot have.
	implausible bool
	judge       air.Judge
	since       time.Time        // of the condition
	is          health.Condition // the condition
}

func (s *sensor) shift(d time.Duration) {
	if !s.last.IsZero() {
		s.last = s.last.Add(d)
	}
	if !s.since.IsZero() {
		s.since = s.since.Add(d)
	}
}

// downAfter is how many readings in a row have to fail before a sensor is down; each
// of them was tried several times by the driver.
const downAfter = 3

// condition says how the sensor is, and why.
func (s *sensor) condition(now time.Time, c clock.Clock) (is health.Condition, why string) {
	switch {
	case s.failing >= downAfter:
		return health.Down, s.failure
	case s.last.IsZero():
		return health.Waiting, "no reading yet"
	case now.Sub(s.last) > clock.Lapse(c, s.StaleAfter):
		return health.Stale, fmt.Sprintf("the last reading is from %s ago", now.Sub(s.last).Round(time.Second))
	}
	return health.Up, ""
}

// zone is the open end of a zone's air: what was read since its last closed step.
// It rebuilds itself after a start; the closed steps are in the state.
type zone struct {
	id      string
	sensors []*sensor
	// read and value are the newest reading that the path has taken in; zero when
	// there was none since the last closed step.
	read   time.Time
	value  air.State
	source *sensor
	// habit is learned from the hours between two; nil while they are too few.
	habit        *air.Habit
	habitOfHours [2]int64
}

// airReading is one reading of a sensor, or why there is none.
type airReading struct {
	sensor   string
	air      air.State
	took     time.Duration
	err      error
	rejected bool          // it failed with a value that air cannot have
	at       time.Duration // CLOCK_BOOTTIME
}

func (r airReading) enter(b *Bench, now time.Time) {
	s, known := b.sensors[r.sensor]
	if !known {
		return
	}
	s.took = r.took
	err := r.err
	if err == nil {
		if err = r.air.Valid(); err == nil { // outside physics: never a value
			if b.inMaintenance(s.ID) { // it is carried about, or lies in a salt jar
				s.judge = air.Judge{}
			}
			var why string
			if s.judge, why = s.judge.Next(r.air, r.at); why != "" {
				err = errors.New(why)
			}
		}
		r.rejected = err != nil
	}
	if err != nil {
		if r.rejected {
			s.rejected++
		} else {
			s.errors++
		}
		s.failing++
		s.failure, s.implausible = err.Error(), r.rejected
		return
	}
	s.ok++
	s.failing, s.failure = 0, ""
	at := b.atMono(r.at)
	if !at.After(s.last) {
		return
	}
	s.last, s.air, s.mono = at, r.air, r.at
	z := b.zones[s.Zone]
	if z.primary(at, b.clock) != s {
		return
	}
	b.takeIn(z, s, at)
}

// primary is the sensor that speaks for the zone: the first in the configuration that
// is fresh.
func (z *zone) primary(now time.Time, c clock.Clock) *sensor {
	var best *sensor
	for _, s := range z.sensors {
		if s.last.IsZero() {
			continue
		}
		if now.Sub(s.last) <= fresh(c, s) {
			return s
		}
		if best == nil || s.last.After(best.last) {
			best = s
		}
	}
	return best
}

// fresh is how old a reading may be by a clock and still count as now: three readings.
func fresh(c clock.Clock, s *sensor) time.Duration { return clock.Lapse(c, 3*s.Every) }

// takeIn brings a reading into the zone's path.
func (b *Bench) takeIn(z *zone, s *sensor, at time.Time) {
	closed := b.state.Zones[z.id]
	if at.Before(closed.Until) { // an event that came in after it has closed the step
		at = closed.Until
	}
	was, had := z.value, !z.read.IsZero()
	silent := closed.ReadAt.IsZero() || at.Sub(b.lastRead(z)) > fresh(b.clock, s)
	switch {
	case closed.Bridged: // the daemon was down: a line from the last to the first reading
		bridge := cure.Step{From: closed.Air, To: s.air, Kind: cure.Bridged, Uncertain: true}
		z.strays(closed.Hours, &bridge)
		b.step(z, at, bridge, s.air, at)
	case silent:
		b.hold(z, at)
		b.step(z, at, cure.Step{}, s.air, at)
	case !had:
		if far(closed.Air, s.air) {
			b.measured(z, at, closed.Air, s.air, at)
		}
	case far(closed.Air, s.air) || far(was, s.air):
		b.measured(z, z.read, closed.Air, was, z.read)
		b.measured(z, at, was, s.air, at)
	}
	z.read, z.value, z.source = at, s.air, s
	if b.state.Zones[z.id].Until.Equal(at) {
		z.read = time.Time{}
	}
}

// far reports whether a reading closes a step. The straight line of a step therefore
// never differs by more from what was read.
func far(a, b air.State) bool {
	return math.Abs(a.TemperatureC-b.TemperatureC) > air.SameWithinC || math.Abs(a.HumidityPct-b.HumidityPct) > air.SameWithinPct
}

// lastRead is the time of the zone's newest reading, of this run or of one before.
func (b *Bench) lastRead(z *zone) time.Time {
	if !z.read.IsZero() {
		return z.read
	}
	return b.state.Zones[z.id].ReadAt
}

// measured closes a step of measured air, a straight line from one value to another.
func (b *Bench) measured(z *zone, end time.Time, from, to air.State, readAt time.Time) {
	_, doubt := b.doubt(z, to, end)
	b.step(z, end, cure.Step{From: from, To: to, Kind: cure.Measured, Uncertain: doubt}, to, readAt)
}

// hold closes steps up to end without a reading: with the last values while they are
// not stale, and after that with what may have become of them.
func (b *Bench) hold(z *zone, end time.Time) {
	closed := b.state.Zones[z.id]
	read := b.lastRead(z)
	last := closed.Air
	if !z.read.IsZero() && z.read.After(closed.Until) {
		b.measured(z, z.read, closed.Air, z.value, z.read)
		last = z.value
	}
	staleAfter := b.staleAfter(z)
	for {
		start := b.state.Zones[z.id].Until
		if !end.After(start) {
			return
		}
		step := cure.Step{From: last, To: last, Kind: cure.Held, Held: start.Sub(read), Uncertain: true}
		z.strays(closed.Hours, &step)
		stop := end
		switch border := read.Add(staleAfter); {
		case read.IsZero(), !start.Before(border):
			step.Kind, step.Worst = cure.Stale, b.state.Zones[z.id].Worst()
			if read.IsZero() {
				step.Held = 0
			}
		case border.Before(end):
			stop = border
		}
		b.step(z, stop, step, last, read)
	}
}

// staleAfter is the zone's longest stale_after: air is missing only when no sensor
// of the zone gives any.
func (b *Bench) staleAfter(z *zone) time.Duration {
	var longest time.Duration
	for _, s := range z.sensors {
		longest = max(longest, s.StaleAfter)
	}
	return clock.Lapse(b.clock, longest)
}

// step closes one step of a zone's air at end.
func (b *Bench) step(z *zone, end time.Time, step cure.Step, after air.State, readAt time.Time) {
	start := b.state.Zones[z.id].Until
	step.Duration = end.Sub(start)
	if step.Duration < 0 {
		return
	}
	if step.Kind == "" { // a mark without length: where the next step starts from
		step.Kind, step.From, step.To = cure.Measured, after, after
	}
	b.decide(end, actor.Bench, record.AirStep{Zone: z.id, Start: start, Step: step, After: after, ReadAt: readAt})
	if !z.read.After(end) {
		z.read = time.Time{}
	}
}

// open makes sure that the zone has a path that begins now or earlier.
func (b *Bench) open(z *zone, now time.Time) {
	if _, ok := b.state.Zones[z.id]; ok {
		return
	}
	b.decide(now, actor.Bench, record.AirStep{
		Zone: z.id, Start: now, Step: cure.Step{Kind: cure.Measured, From: record.UnmeasuredAir, To: record.UnmeasuredAir},
		After: record.UnmeasuredAir,
	})
}

// closeTo closes the zone's path up to now, before something happens to a batch that
// stands in it.
func (b *Bench) closeTo(z *zone, now time.Time) {
	closed := b.state.Zones[z.id]
	read := b.lastRead(z)
	if closed.Bridged || z.source == nil || now.Sub(read) > fresh(b.clock, z.source) {
		b.hold(z, now)
		return
	}
	last := closed.Air
	if !z.read.IsZero() {
		b.measured(z, z.read, closed.Air, z.value, z.read)
		last = z.value
	}
	if now.After(b.state.Zones[z.id].Until) {
		b.measured(z, now, last, last, read)
	}
}

// closeMinutes closes each zone's step when a whole minute has passed. A zone that
// waits for its first reading after a start is left alone for as long as that may
// still bridge the gap.
func (b *Bench) closeMinutes(now time.Time) {
	for _, z := range b.zones {
		closed := b.state.Zones[z.id]
		if now.Truncate(time.Minute).Sub(closed.Until.Truncate(time.Minute)) <= 0 {
			continue
		}
		read := b.lastRead(z)
		switch {
		case closed.Bridged && b.uptime(b.clock.Now()) < b.staleAfter(z):
		case closed.Bridged, z.source == nil, now.Sub(read) > fresh(b.clock, z.source):
			b.hold(z, now)
		case !z.read.IsZero():
			b.measured(z, z.read, closed.Air, z.value, z.read)
		}
	}
}

// quality says how far the zone's air can be relied on.
func (b *Bench) quality(z *zone, now time.Time) (view.Quality, string) {
	read := b.lastRead(z)
	age := now.Sub(read)
	value, ok := b.value(z)
	switch {
	case len(z.sensors) == 0:
		return view.QualityBad, "no sensor measures this zone"
	case !ok:
		return view.QualityBad, "no reading yet"
	case age > b.staleAfter(z):
		return view.QualityBad, fmt.Sprintf("no reading for %s", age.Round(time.Second))
	}
	every := z.sensors[0].Every
	if z.source != nil {
		every = z.source.Every
	}
	if age > clock.Lapse(b.clock, 3*every) {
		return view.QualityUncertain, fmt.Sprintf("the last reading is from %s ago", age.Round(time.Second))
	}
	if why, doubt := b.doubt(z, value, now); doubt {
		return view.QualityUncertain, why
	}
	return view.QualityGood, ""
}

// doubt says whether air that was read just now can be relied on.
func (b *Bench) doubt(z *zone, value air.State, now time.Time) (why string, doubt bool) {
	if why, doubt := value.Unusual(); doubt {
		return why, true
	}
	if z.source != nil && z.source.implausible && z.source.failing > 0 {
		return fmt.Sprintf("%s gives values that cannot be: %s", z.source.ID, z.source.failure), true
	}
	if z.source != nil {
		if why := b.failedCheck(b.state, z.source); why != "" {
			return why, true
		}
	}
	if z.source != nil && b.overdue(z.source, now) > 0 {
		return fmt.Sprintf("the check of %s is overdue", z.source.ID), true
	}
	for _, s := range z.sensors {
		if b.stands(alarm.Disagrees, s.ID) {
			return "its sensors disagree", true
		}
	}
	return "", false
}

// value is the zone's newest air and whether it was ever measured.
func (b *Bench) value(z *zone) (air.State, bool) {
	if !z.read.IsZero() {
		return z.value, true
	}
	closed, ok := b.state.Zones[z.id]
	if !ok || closed.ReadAt.IsZero() {
		return record.UnmeasuredAir, false
	}
	return closed.Air, true
}
