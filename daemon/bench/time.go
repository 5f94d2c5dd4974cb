package bench

import (
	"crypto/rand"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/model/airpath"
)

// begin records the start, and what lies between the journal's last record and now.
func (b *Bench) begin() {
	at, e := b.clock.begin(b.state.Last)
	e.Instance, e.Version, e.Devices = rand.Text(), b.version, b.shop.addresses()
	b.instance = e.Instance
	b.checked = b.clock.started.Mono
	b.begun = b.decide(at, actor.Bench, e).Seq
	b.tellLoss(at)
	b.closeTallies(at) // of an earlier run that ended without doing so
	at = b.watchClock(at)
	for _, z := range b.zones {
		b.openZone(z, at)
	}
	b.askAlarms(at)
	b.publish(at)
}

// openZone begins the path of a zone that the state does not know.
func (b *Bench) openZone(z *zone, at time.Time) {
	if _, known := b.state.Zones[z.id]; !known {
		b.closeSteps(z, []airpath.Step{airpath.First(at)})
	}
}

// watchClock records when the clock was set or stepped. It returns bench time, which may
// have moved.
func (b *Bench) watchClock(now time.Time) time.Time {
	step, changed := b.clock.look()
	if !changed {
		return now
	}
	if step != 0 {
		b.closeTallies(now)
		for _, z := range b.zones { // air up to here is told in the time before the step
			b.closeAir(z.id, now)
		}
	}
	b.clock.shift(step)
	b.shiftConditions(step)
	now = now.Add(step)
	for _, s := range b.sensors {
		s.shift(step)
	}
	for _, s := range b.scales {
		s.shift(step)
	}
	for _, f := range b.followers {
		f.shift(step)
	}
	b.log.Info("the clock changed", "step", step, "set", b.clock.synced)
	b.write.steps = append(b.write.steps, b.decide(now, actor.Bench, record.ClockChanged{Synced: b.clock.synced, Step: step}))
	return now
}
