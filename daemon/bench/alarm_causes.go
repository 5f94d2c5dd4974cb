package bench

import (
	"time"

	"potlifed/daemon/record"
	"potlifed/model/alarm"
	"potlifed/model/health"
	"potlifed/model/lifecycle"
)

// observe looks at every cause.
func (b *Bench) observe(now time.Time) *causes {
	l := &causes{b: b, now: now, found: map[record.AlarmKey]observed{}}
	for _, batch := range b.state.Batches {
		l.mix(batch)
		if batch.Ensemble != nil {
			l.life(batch)
			l.cut(batch)
			l.sweating(batch)
		}
	}
	for _, p := range b.shop.Presses {
		l.change(p.ID)
		if printsUnloaded(b.state, p.ID, now) {
			l.holds(alarm.NoBatch, p.ID, "%s has printed, and no batch is loaded on it", p.ID)
		}
	}
	for _, z := range b.zones {
		l.air(z)
	}
	l.instruments()
	l.lightReports()
	l.service()
	return l
}

// life looks at how near a batch is to its end.
func (l *causes) life(batch *record.Batch) {
	id, f := batch.ID, l.b.lifeOf(l.b.state, batch, l.now)
	risk := func(name string, limit float64, format string) {
		if l.beyond(name, id, alarm.Limit{At: limit, DeadBand: limit / 10}, f.Risk) {
			l.holds(name, id, format, id, 100*f.Risk)
		}
	}
	risk(alarm.BatchDead, alarm.DeadRisk, "batch %s has probably gone off (%.0f %%)")
	risk(alarm.BatchRisk, l.b.shop.Alarms.StopAtRisk, "batch %s may have gone off (%.0f %%)")
	risk(alarm.BatchLeftOpen, alarm.LeftOpenRisk, "batch %s is past its latest end (%.0f %%) and still open")
	within := l.b.shop.soonWithin(batch)
	soon := alarm.Limit{At: within.Seconds(), DeadBand: min(within/4, 5*time.Minute).Seconds(), Below: true}
	if l.beyond(alarm.BatchEnding, id, soon, f.Low.Sub(l.now).Seconds()) {
		l.holds(alarm.BatchEnding, id, "batch %s may end from %s on", id, f.Low.Local().Format("15:04"))
	}
}

// mix looks at faults of a mix that nobody has put right or accepted. At the scale
// there is a while to do so.
func (l *causes) mix(batch *record.Batch) {
	m := batch.Mix
	if n := len(m.Pours); batch.Phase == lifecycle.Mixing && (n == 0 || l.now.Sub(m.Pours[n-1].RoseAt) < alarm.Uncorrected) {
		return
	}
	poured := m.Poured()
	if m.RatioOpen() {
		l.holds(alarm.RatioOff, batch.ID, "batch %s has %.1f g of hardener to %.1f g of ink, which is out of ratio", batch.ID, poured.HardenerG, poured.InkG)
	}
	if m.ThinnerOpen() {
		l.holds(alarm.ThinnerOff, batch.ID, "batch %s has %.1f %% of thinner, which is outside its ink's range", batch.ID, poured.ThinnerPct())
	}
	if m.OrderOpen() {
		l.holds(alarm.OrderWrong, batch.ID, "thinner went into batch %s before the hardener was stirred in", batch.ID)
	}
}

// change looks whether a batch still stands where somebody has seen that it should
// not.
func (l *causes) change(press string) {
	id := l.b.state.Presses[press].Batch
	for _, name := range []string{alarm.BatchRisk, alarm.BatchDead} {
		row := l.b.state.Alarms[record.AlarmKey{Name: name, Subject: id}]
		if id != "" && stateOf(row) == alarm.Acknowledged && l.now.Sub(row.Changed) >= alarm.ChangeWithin {
			l.holds(alarm.NotChanged, press, "%s acknowledged %s of batch %s, and it still stands on %s", row.By, name, id, press)
		}
	}
}

// instruments looks at sensors and scales.
func (l *causes) instruments() {
	early := l.b.clock.settling()
	for id, s := range l.b.sensors {
		if why := s.failedCheck(l.b.state); why != "" {
			l.holds(alarm.SensorOverdue, id, "%s", why)
		} else if late := s.overdue(l.b.state, l.now); late > 0 {
			last, _ := s.lastCheck(l.b.state)
			l.holds(alarm.SensorOverdue, id, "the check of %s is overdue: the last was on %s", id, last.Local().Format(time.DateOnly))
		}
		is, why := s.condition(l.now)
		switch {
		case is == health.Waiting && early:
			l.notKnown(alarm.SensorStale, id)
			l.notKnown(alarm.Implausible, id)
		case is == health.Down && s.implausible:
			l.holds(alarm.Implausible, id, "sensor %s: %s", id, why)
		case is != health.Up:
			l.holds(alarm.SensorStale, id, "sensor %s: %s", id, why)
		}
		if is == health.Down && s.implausible && !s.last.IsZero() && l.now.Sub(s.last) > s.staleAfter() {
			l.holds(alarm.SensorStale, id, "sensor %s: the last good reading is from %s", id, s.last.Local().Format("15:04"))
		}
	}
	for id, s := range l.b.scales {
		switch is, why := s.condition(l.now); {
		case is == health.Up:
		case early:
			l.notKnown(alarm.ScaleSilent, id)
		default:
			l.holds(alarm.ScaleSilent, id, "scale %s: %s", id, why)
		}
	}
}

// service looks at what the bench itself depends on.
func (l *causes) service() {
	b, bench := l.b, l.b.shop.Bench
	if !b.clock.synced {
		l.holds(alarm.ClockUnset, bench, alarm.ClockNotSet)
	}
	switch err := b.write.failing; {
	case err != nil:
		l.holds(alarm.JournalFailing, bench, "the journal cannot write: %v", err)
	case b.write.flight != nil && b.clock.mono()-b.write.sentAt >= b.clock.lapse(alarm.SlowWrite):
		l.holds(alarm.JournalFailing, bench, "the journal is slow: a write has taken more than %v", alarm.SlowWrite)
	}
	out, early := b.publishing(), b.clock.settling()
	if early { // it has hardly begun to connect
		for _, name := range []string{alarm.BrokerAway, alarm.QueueLong, alarm.OtherInstance} {
			l.notKnown(name, bench)
		}
	}
	switch {
	case early:
	case out.Fault != "":
		l.holds(alarm.BrokerAway, bench, "nothing can be published: %s", out.Fault)
	case out.Dropped != "":
		l.holds(alarm.BrokerAway, bench, "%s", out.Dropped)
	}
	if l.beyond(alarm.QueueLong, bench, alarm.Limit{At: alarm.MostWaiting, DeadBand: alarm.MostWaiting / 2}, float64(out.Waiting)) {
		l.holds(alarm.QueueLong, bench, "%d messages wait for the broker", out.Waiting)
	}
	if out.OtherInstance != "" {
		l.holds(alarm.OtherInstance, bench, "another instance of the program, %s, publishes for %s", out.OtherInstance, bench)
	}
}
