package bench

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"potlifed/daemon/record"
)

// The alarms of this bench, by their names on every wire.
const (
	alarmEnding = "batch-ending"
	alarmDead   = "batch-dead"
	alarmRisk   = "batch-risk"
	alarmSensor = "sensor-stale"
	alarmScale  = "scale-silent"
	alarmClock  = "clock"
	alarmDisk   = "journal"
	alarmBroker = "broker"
)

// The priorities, by how soon somebody has to act.
const (
	high   = "high"
	medium = "medium"
	low    = "low"
)

// deadRisk is the risk at which a batch is more likely dead than not.
const deadRisk = 0.5

// settling is how long after a start devices and broker may take to answer before
// their silence is an alarm.
const settling = 10 * time.Second

// askAlarms raises the alarms whose cause has come and clears those whose cause has
// gone.
func (b *Bench) askAlarms(now time.Time) {
	causes := b.causes(now)
	for _, key := range slices.SortedFunc(maps.Keys(b.state.Alarms), compareKeys) {
		if _, stands := causes[key]; !stands {
			b.decide(now, "bench", record.AlarmCleared{Name: key.Name, Subject: key.Subject})
		}
	}
	for _, key := range slices.SortedFunc(maps.Keys(causes), compareKeys) {
		if _, known := b.state.Alarms[key]; !known {
			b.decide(now, "bench", causes[key])
		}
	}
}

func compareKeys(a, b record.AlarmKey) int {
	return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Subject, b.Subject))
}

// causes are the alarms that have a cause now.
func (b *Bench) causes(now time.Time) map[record.AlarmKey]record.AlarmRaised {
	causes := map[record.AlarmKey]record.AlarmRaised{}
	raise := func(name, subject, priority, format string, args ...any) {
		causes[record.AlarmKey{Name: name, Subject: subject}] = record.AlarmRaised{
			Name: name, Subject: subject, Priority: priority, Text: fmt.Sprintf(format, args...),
		}
	}
	for id, batch := range b.state.Batches {
		if batch.Cloud == nil {
			continue
		}
		l := b.lifeOf(b.state, batch, now)
		if l.risk >= deadRisk {
			raise(alarmDead, id, high, "batch %s has probably gone off: take it off the press and discard it", id)
		}
		if l.risk >= b.shop.Alarms.StopAtRisk {
			raise(alarmRisk, id, high, "batch %s may have gone off (%.0f %%): do not print with it until somebody has looked", id, 100*l.risk)
		}
		if left := l.low.Sub(now); left <= b.soonWithin(batch) {
			raise(alarmEnding, id, medium, "batch %s may end within %s: begin the next mix", id, max(left, 0).Round(time.Minute))
		}
	}
	early := b.uptime(b.clock.Now()) < settling
	for id, s := range b.sensors {
		is, why := s.condition(now)
		if is == down || is == stale || is == waiting && !early {
			raise(alarmSensor, id, medium, "sensor %s: %s; look at the sensor and its cable", id, why)
		}
	}
	for id, s := range b.scales {
		if is, why := s.condition(now); is != up && !early {
			raise(alarmScale, id, medium, "scale %s: %s; look at its power and its cable", id, why)
		}
	}
	if !b.synced {
		raise(alarmClock, b.shop.Bench, low, "the wall clock is not set: times may be wrong, ages of batches are not; connect the network or set the clock")
	}
	if err := b.write.failing; err != nil {
		raise(alarmDisk, b.shop.Bench, high, "the journal cannot write: %v; make room or change the card", err)
	}
	if why := b.broker(); why != "" && !early {
		raise(alarmBroker, b.shop.Bench, medium, "nothing can be published: %s; look at the broker and the network", why)
	}
	return causes
}

// soonWithin is how long before its low end a batch's successor must be begun.
func (b *Bench) soonWithin(batch *record.Batch) time.Duration {
	return b.shop.Alarms.EndingBefore + b.shop.Alarms.MixingTakes + batch.Mix.Recipe.Rest
}
