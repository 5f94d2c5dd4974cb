package bench

import (
	"crypto/rand"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/clock"
	"potlifed/daemon/record"
	"potlifed/model/airpath"
)

// anchor ties bench time to the clock that does not jump.
type anchor struct {
	at   time.Time
	mono time.Duration
}

// stepThreshold is how far the wall clock may be from bench time before the
// difference counts as a step. A time daemon that only slews the clock slews
// CLOCK_BOOTTIME with it.
const stepThreshold = 500 * time.Millisecond

// now is bench time.
func (b *Bench) now() time.Time { return b.atMono(b.clock.Now().Mono) }

// atMono is bench time at a moment of CLOCK_BOOTTIME.
func (b *Bench) atMono(m time.Duration) time.Time { return b.anchor.at.Add(m - b.anchor.mono) }

// begin ties bench time to the clocks at a start and records what lies between the
// journal's last record and now.
//
//   - The same boot: the gap is what CLOCK_BOOTTIME says, exactly.
//   - Another boot, the clock set at both ends: the wall clock tells the gap.
//   - Else the gap is at least as long as this boot has lasted. Bench time jumps to
//     what the wall clock says, and ages do not see the jump.
func (b *Bench) begin() {
	c := b.clock.Now()
	last := b.state.Last
	e := record.Started{Instance: rand.Text(), Version: b.version}
	at := c.Wall
	switch {
	case last.At.IsZero(): // an empty journal
		e.GapKnown = true
	case last.Boot == c.Boot:
		e.Gap, e.GapKnown = c.Mono-last.Mono, true
		at = last.At.Add(e.Gap)
	case last.Synced && c.Synced && !c.Wall.Before(last.At):
		e.Gap, e.GapKnown = c.Wall.Sub(last.At), true
	default:
		e.Gap, e.Countable = c.Mono, last.Synced && !c.Synced
		if least := last.At.Add(e.Gap); at.Before(least) && !c.Synced {
			at = least
		}
		e.Shift = at.Sub(last.At) - e.Gap
	}
	b.started, b.synced = c, c.Synced
	b.instance = e.Instance
	b.anchor = anchor{at: at, mono: c.Mono}
	b.checked = c.Mono
	b.begun = b.decide(at, actor.Bench, e).Seq
	at = b.watchClock(at)
	for _, z := range b.zones {
		if _, known := b.state.Zones[z.id]; !known {
			b.closeSteps(z, []airpath.Step{airpath.First(at)})
		}
	}
	b.askAlarms(at)
	b.publish(at)
}

// watchClock compares bench time with the wall clock and records it when the clock
// was set or stepped. It returns bench time, which may have moved.
//
// While the clock is not set its steps mean nothing and are left alone: bench time
// goes on from where it was.
func (b *Bench) watchClock(now time.Time) time.Time {
	c := b.clock.Now()
	became := c.Synced != b.synced
	b.synced = c.Synced
	off := c.Wall.Sub(b.atMono(c.Mono))
	stepped := c.Synced && (off >= stepThreshold || off <= -stepThreshold)
	if !stepped && !became {
		return now
	}
	e := record.ClockChanged{Synced: c.Synced}
	if stepped {
		e.Step = off
		for _, z := range b.zones { // air up to here is told in the time before the step
			b.closeAir(z.id, now)
		}
	}
	b.anchor.at = b.anchor.at.Add(e.Step)
	now = now.Add(e.Step)
	for _, s := range b.sensors {
		s.shift(e.Step)
	}
	for _, s := range b.scales {
		s.shift(e.Step)
	}
	b.log.Info("the clock changed", "step", e.Step, "set", e.Synced)
	b.decide(now, actor.Bench, e)
	return now
}

func (b *Bench) stamp(at time.Time) record.Stamp {
	return record.Stamp{At: at, Boot: b.started.Boot, Mono: at.Sub(b.anchor.at) + b.anchor.mono, Synced: b.synced}
}

// uptime is how long this run has lasted.
func (b *Bench) uptime(c clock.Instant) time.Duration { return c.Mono - b.started.Mono }
