package bench

import (
	"math"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/alarm"
	"potlifed/model/health"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// waitingLimit is how many messages may wait for a broker.
var waitingLimit = alarm.Limit{At: alarm.MostWaiting, DeadBand: alarm.MostWaiting / 2}

// freeLimit is how much room the disk of the bench's data must have, in bytes.
var freeLimit = alarm.Limit{At: alarm.LeastFree, DeadBand: alarm.LeastFree / 4, Below: true}

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
			l.holds(alarm.NoBatch, p.ID, b.shop.locale.Say("alarm-text.no-batch", "press", p.ID))
		}
	}
	for _, z := range b.zones {
		l.air(z)
	}
	l.instruments()
	l.health()
	l.trends()
	l.lightReports()
	l.service()
	return l
}

// life looks at how near a batch is to its end.
func (l *causes) life(batch *record.Batch) {
	id, f := batch.ID, l.b.lifeOf(l.b.state, batch, l.now)
	w := l.b.shop.locale
	at := w.Clock(l.now, l.now) // the text of an alarm stays, and the risk goes on rising
	risk := func(name string, limit float64, text func(risk string) string) {
		if l.beyond(name, id, alarm.Limit{At: limit, DeadBand: limit / 10}, f.Risk) {
			l.holds(name, id, text(w.Percent(100*f.Risk, 0)))
		}
	}
	risk(alarm.BatchDead, alarm.DeadRisk, func(risk string) string { return w.Say("alarm-text.batch-dead", "batch", id, "risk", risk, "at", at) })
	risk(alarm.BatchRisk, l.b.shop.Alarms.StopAtRisk, func(risk string) string { return w.Say("alarm-text.batch-risk", "batch", id, "risk", risk, "at", at) })
	risk(alarm.BatchLeftOpen, alarm.LeftOpenRisk, func(risk string) string {
		return w.Say("alarm-text.batch-left-open", "batch", id, "risk", risk, "at", at)
	})
	within := l.b.shop.soonWithin(batch)
	soon := alarm.Limit{At: within.Seconds(), DeadBand: min(within/4, 5*time.Minute).Seconds(), Below: true}
	if l.beyond(alarm.BatchEnding, id, soon, f.Low.Sub(l.now).Seconds()) {
		l.holds(alarm.BatchEnding, id, w.Say("alarm-text.batch-ending", "batch", id, "from", w.Clock(f.Low, l.now)))
	}
}

// mix looks at faults of a mix that nobody has put right or accepted. At the scale
// there is a while to do so.
func (l *causes) mix(batch *record.Batch) {
	m := batch.Mix
	if n := len(m.Pours); batch.Phase == lifecycle.Mixing && (n == 0 || l.now.Sub(m.Pours[n-1].RoseAt) < alarm.Uncorrected) {
		return
	}
	poured, w, recipe := m.Poured(), l.b.shop.locale, m.Recipe
	if m.RatioOpen() {
		off := mix.Deviation(poured, recipe.Ratio)
		pct, hardener, ink := w.Percent(100*math.Abs(off), 0), w.Grams(poured.HardenerG), w.Grams(poured.InkG)
		if off > 0 {
			l.holds(alarm.RatioOff, batch.ID, w.Say("alarm-text.too-much-hardener", "batch", batch.ID, "pct", pct, "hardener", hardener, "ink", ink))
		} else {
			l.holds(alarm.RatioOff, batch.ID, w.Say("alarm-text.too-little-hardener", "batch", batch.ID, "pct", pct, "hardener", hardener, "ink", ink))
		}
	}
	if m.ThinnerOpen() {
		l.holds(alarm.ThinnerOff, batch.ID, w.Say("alarm-text.thinner-off", "batch", batch.ID, "pct", w.Percent(poured.ThinnerPct(), 1),
			"least", w.Percent(recipe.ThinnerMinPct, 0), "most", w.Percent(recipe.ThinnerMaxPct, 0)))
	}
	if m.OrderOpen() {
		l.holds(alarm.OrderWrong, batch.ID, w.Say("alarm-text.order-wrong", "batch", batch.ID))
	}
}

// change looks whether a batch still stands where somebody has seen that it should
// not.
func (l *causes) change(press string) {
	id := l.b.state.Presses[press].Batch
	for _, name := range []string{alarm.BatchRisk, alarm.BatchDead} {
		row := l.b.state.Alarms[record.AlarmKey{Name: name, Subject: id}]
		if id != "" && stateOf(row) == alarm.Acknowledged && l.now.Sub(row.Changed) >= alarm.ChangeWithin {
			l.holds(alarm.NotChanged, press, l.b.shop.locale.Say("alarm-text.not-changed", "who", string(row.By), "batch", id, "press", press))
		}
	}
}

// instruments looks at sensors and scales.
func (l *causes) instruments() {
	early, w := l.b.clock.settling(), l.b.shop.locale
	for id, s := range l.b.sensors {
		if why := s.failedCheck(l.b.state); why != "" {
			l.failedCheck(alarm.SensorOverdue, id, why, l.b.state.FailedChecks[id].At)
		} else if late := s.overdue(l.b.state, l.now); late > 0 {
			last, _ := s.lastCheck(l.b.state)
			l.holds(alarm.SensorOverdue, id, w.Say("alarm-text.check-overdue", "sensor", id, "day", w.Day(last)))
		}
		is, why := s.condition(l.now)
		switch {
		case is == health.Waiting && (early || l.b.added(s.addedAt)):
			l.notKnown(alarm.SensorStale, id)
			l.notKnown(alarm.Implausible, id)
		case is == health.Down && s.implausible():
			l.holdsWith(alarm.Implausible, id, why)
		case is != health.Up:
			l.holdsWith(alarm.SensorStale, id, why)
		}
		if is == health.Down && s.implausible() && !s.last.IsZero() && l.now.Sub(s.last) > s.staleAfter() {
			l.holds(alarm.SensorStale, id, w.Say("alarm-text.last-reading", "sensor", id, "at", w.Clock(s.last, l.now)))
		}
	}
	for id, s := range l.b.scales {
		if why := s.failedCheck(l.b.state); why != "" {
			l.failedCheck(alarm.ScaleOverdue, id, why, l.b.state.ScaleChecks[id].At)
		} else if last, due := s.lastCheck(l.b.state); !due.IsZero() && l.now.After(due) {
			l.holds(alarm.ScaleOverdue, id, w.Say("alarm-text.scale-check-overdue", "scale", id, "day", w.Day(last)))
		}
		switch is, why := s.condition(l.now); {
		case is == health.Up:
		case early || l.b.added(s.addedAt):
			l.notKnown(alarm.ScaleSilent, id)
		default:
			l.holdsWith(alarm.ScaleSilent, id, why)
		}
	}
}

// service looks at what the bench itself depends on.
func (l *causes) service() {
	b, bench, w := l.b, l.b.shop.Bench, l.b.shop.locale
	if !b.clock.synced {
		l.holds(alarm.ClockUnset, bench, w.Say("alarm-text.clock"))
	}
	switch err := b.write.failing; {
	case err != nil:
		l.holdsWith(alarm.JournalFailing, bench, trouble{w.Say("alarm-text.journal"), err.Error()})
	case b.write.flight != nil && b.clock.mono()-b.write.sentAt >= b.clock.lapse(alarm.SlowWrite):
		l.holds(alarm.JournalFailing, bench, w.Say("alarm-text.journal-slow", "slow", w.Duration(alarm.SlowWrite)))
	case b.state.Loss != nil:
		l.holdsWith(alarm.JournalFailing, bench, lossTrouble(w, b.state.Loss))
	}
	out, early := b.publishing(), b.clock.settling()
	if early { // it has hardly begun to connect
		for _, name := range []string{alarm.BrokerAway, alarm.PlantAway, alarm.QueueLong, alarm.OtherInstance} {
			l.notKnown(name, bench)
		}
	}
	switch {
	case early:
	case out.Fault != "":
		l.holdsWith(alarm.BrokerAway, bench, trouble{w.Say("alarm-text.broker"), out.Fault})
	case out.Dropped != "":
		l.holdsWith(alarm.BrokerAway, bench, trouble{w.Say("alarm-text.broker-drops"), out.Dropped})
	case out.Foreign != "":
		l.holdsWith(alarm.BrokerAway, bench, trouble{w.Say("alarm-text.broker-foreign"), out.Foreign})
	}
	switch tooMany := l.beyond(alarm.PlantAway, bench, waitingLimit, float64(out.PlantWaiting)); {
	case early:
	case out.Plant != "":
		l.holdsWith(alarm.PlantAway, bench, trouble{w.Say("alarm-text.plant"), out.Plant})
	case tooMany:
		l.holds(alarm.PlantAway, bench, w.Say("alarm-text.plant-queue", "n", out.PlantWaiting))
	}
	if l.beyond(alarm.QueueLong, bench, waitingLimit, float64(out.Waiting)) {
		l.holds(alarm.QueueLong, bench, w.Say("alarm-text.queue", "n", out.Waiting))
	}
	switch end := out.Certificate; {
	case end.At.IsZero():
	case !b.clock.synced:
		l.notKnown(alarm.Certificate, bench)
	case !l.now.Add(alarm.CertificateNotice).Before(end.At):
		l.holdsWith(alarm.Certificate, bench, trouble{w.Say("alarm-text.certificate", "key", end.Key, "day", w.Day(end.At)), end.File})
	}
	if out.Free != nil && l.beyond(alarm.DiskLow, bench, freeLimit, float64(*out.Free)) {
		l.holds(alarm.DiskLow, bench, w.Say("alarm-text.disk", "mebibytes", *out.Free>>20))
	}
	if out.OtherInstance != "" {
		l.holds(alarm.OtherInstance, bench, w.Say("alarm-text.other-instance", "instance", out.OtherInstance, "bench", bench))
	}
}
