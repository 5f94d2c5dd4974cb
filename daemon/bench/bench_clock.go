package bench

import (
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/record"
)

// benchClock is bench time: the wall clock, tied once to CLOCK_BOOTTIME, which does not
// jump. Only a record shifts it.
type benchClock struct {
	real    clock.Clock
	started clock.Instant // of this run
	anchor  anchor
	synced  bool // whether the wall clock was set when it was looked at last
}

// anchor ties bench time to CLOCK_BOOTTIME.
type anchor struct {
	at   time.Time
	mono time.Duration
}

// stepThreshold is how far the wall clock may be from bench time before the
// difference counts as a step. A time daemon that only slews the clock slews
// CLOCK_BOOTTIME with it.
const stepThreshold = 500 * time.Millisecond

// mono is CLOCK_BOOTTIME. It may be called from any goroutine.
func (c *benchClock) mono() time.Duration { return c.real.Now().Mono }

// now is bench time.
func (c *benchClock) now() time.Time { return c.at(c.mono()) }

// at is bench time at a moment of CLOCK_BOOTTIME.
func (c *benchClock) at(mono time.Duration) time.Time { return c.anchor.at.Add(mono - c.anchor.mono) }

// began is when this run began, in bench time.
func (c *benchClock) began() time.Time { return c.at(c.started.Mono) }

// uptime is how long this run has lasted.
func (c *benchClock) uptime() time.Duration { return c.mono() - c.started.Mono }

// lapse is how far bench time moves on while d of real time passes (see [clock.Lapse]).
func (c *benchClock) lapse(d time.Duration) time.Duration { return clock.Lapse(c.real, d) }

// passed is how much real time passes while bench time moves on by d.
func (c *benchClock) passed(d time.Duration) time.Duration {
	return time.Duration(float64(d) / c.lapse(time.Second).Seconds())
}

// settlingFor is how long after a start devices and broker may take to answer before
// their silence is an alarm.
const settlingFor = 10 * time.Second

// settling reports whether the service began so short a time ago.
func (c *benchClock) settling() bool { return c.uptime() < c.lapse(settlingFor) }

// stamp is the stamp of a record of an instant of bench time.
func (c *benchClock) stamp(at time.Time) record.Stamp {
	return record.Stamp{At: at, Boot: c.started.Boot, Mono: at.Sub(c.anchor.at) + c.anchor.mono, Synced: c.synced}
}

// begin ties bench time to the clocks at a start. It returns bench time and what lies
// between the journal's last record and now:
//
//   - The same boot: the gap is what CLOCK_BOOTTIME says, exactly.
//   - Another boot, the clock set at both ends: the wall clock tells the gap.
//   - Else the gap is at least as long as this boot has lasted. Bench time jumps to
//     what the wall clock says, and ages do not see the jump.
func (c *benchClock) begin(last record.Stamp) (at time.Time, e record.Started) {
	is := c.real.Now()
	at = is.Wall
	switch {
	case last.At.IsZero(): // an empty journal
		e.GapKnown = true
	case last.Boot == is.Boot:
		e.Gap, e.GapKnown = is.Mono-last.Mono, true
		at = last.At.Add(e.Gap)
	case last.Synced && is.Synced && !is.Wall.Before(last.At):
		e.Gap, e.GapKnown = is.Wall.Sub(last.At), true
	default:
		e.Gap, e.Countable = is.Mono, last.Synced && !is.Synced
		if least := last.At.Add(e.Gap); at.Before(least) && !is.Synced {
			at = least
		}
		e.Shift = at.Sub(last.At) - e.Gap
	}
	c.started, c.synced = is, is.Synced
	c.anchor = anchor{at: at, mono: is.Mono}
	return at, e
}

// look compares bench time with the wall clock. changed reports whether the clock was set
// or stepped; step is by how much bench time is to be shifted then.
//
// While the clock is not set its steps mean nothing and are left alone: bench time
// goes on from where it was.
func (c *benchClock) look() (step time.Duration, changed bool) {
	is := c.real.Now()
	changed = is.Synced != c.synced
	c.synced = is.Synced
	off := is.Wall.Sub(c.at(is.Mono))
	if is.Synced && (off >= stepThreshold || off <= -stepThreshold) {
		return off, true
	}
	return 0, changed
}

// shift moves bench time.
func (c *benchClock) shift(d time.Duration) { c.anchor.at = c.anchor.at.Add(d) }
