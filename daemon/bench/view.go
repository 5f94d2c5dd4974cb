package bench

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/airpath"
	"potlifed/model/health"
)

// publish makes a snapshot of what may be seen: events only once they are on disk,
// readings and air at once.
func (b *Bench) publish(now time.Time) {
	p := &b.write
	if p.failing != nil || !p.urgent && (p.flight == nil || !p.flight.events) {
		p.show(b.state)
	}
	s := p.stepped()
	signals, lights := b.tellLights(s, now) // before everything else
	next := view.Snapshot{
		At: now, Mono: b.clock.mono(), Seq: s.Seq, Journal: s.Journal,
		Bench: b.shop.Bench, Instance: b.instance, Version: b.version, Started: b.clock.began(),
		ClockSynced: b.clock.synced, MixingTakes: b.shop.Alarms.MixingTakes,
		Air: b.airViews(now), Scales: b.scaleViews(s, now), Sensors: b.sensorViews(s, now), Trends: b.trendViews(s, now),
	}
	if p.failing != nil {
		next.JournalError, next.NotOnDisk = p.failing.Error(), p.unwritten()
	}
	if last := b.snap.Load(); last != nil && !b.dirty {
		next.Batches, next.Lives, next.Closed, next.Presses, next.Lights = last.Batches, last.Lives, last.Closed, last.Presses, last.Lights
		next.Alarms, next.Inks, next.Cans, next.ClosedTotal, next.Ends = last.Alarms, last.Inks, last.Cans, last.ClosedTotal, last.Ends
		next.Outlooks = last.Outlooks
	} else {
		b.forgetLives()
		next.Batches, next.Closed = b.batchViews(s, now)
		next.Lives = b.rows.lives
		next.Presses, next.Lights = b.pressViews(s, signals, next.Batches, now), lights
		next.Outlooks = map[string]airpath.Outlook{}
		for id, z := range b.zones {
			next.Outlooks[id] = z.path.Outlook(closedPath(b.state, z), z.staleAfter())
		}
		for _, key := range slices.SortedFunc(maps.Keys(s.Alarms), compareKeys) {
			next.Alarms = append(next.Alarms, b.alarmView(s, s.Alarms[key], now))
		}
		next.Inks, next.Cans, next.ClosedTotal = b.shop.inkViews(s), b.stock(s, now).views(), closedTotals(s)
		next.Ends = endsViews(s)
		b.dirty = false
	}
	b.relight = false
	b.snap.Store(&next)
	b.lightWatch.signal()
	b.watch.signal()
}

// closedTotals returns the state's counts of closed batches, ordered by ink and outcome.
func closedTotals(s record.State) []view.ClosedTotal {
	totals := make([]view.ClosedTotal, 0, len(s.ClosedTotal))
	for key, count := range s.ClosedTotal {
		totals = append(totals, view.ClosedTotal{Ink: key.Ink, Outcome: key.Outcome, Count: count})
	}
	slices.SortFunc(totals, func(x, y view.ClosedTotal) int {
		return cmp.Or(cmp.Compare(x.Ink, y.Ink), cmp.Compare(x.Outcome, y.Outcome))
	})
	return totals
}

// endsViews returns the histograms of ends, ordered by outcome.
func endsViews(s record.State) []view.BatchEnds {
	var views []view.BatchEnds
	for _, outcome := range slices.Sorted(maps.Keys(s.Ends)) {
		e := s.Ends[outcome]
		views = append(views, view.BatchEnds{
			Outcome: outcome, Count: e.Count, SpentSum: e.SpentSum, AgeSumS: e.AgeSum,
			Spent: cumulative(record.SpentLimits(), e.Spent), AgeS: cumulative(record.AgeLimits(), e.Age),
		})
	}
	return views
}

func cumulative(limits []float64, counts []uint64) map[float64]uint64 {
	sums, sum := map[float64]uint64{}, uint64(0)
	for i, limit := range limits {
		sum += counts[i]
		sums[limit] = sum
	}
	return sums
}

func (b *Bench) airViews(now time.Time) []view.Air {
	views := make([]view.Air, 0, len(b.zoneIDs))
	for _, id := range b.zoneIDs {
		z := b.zones[id]
		closed := closedPath(b.state, z)
		v := view.Air{Time: z.path.LastRead(closed), Zone: id}
		v.Quality, v.Why = b.quality(z, now)
		if a, measured := z.path.Value(closed); measured {
			density := a.VapourDensityGM3()
			v.Measured, v.TemperatureC, v.HumidityPct = &a, &a.TemperatureC, &a.HumidityPct
			v.VapourDensity = &density
			if dew, has := a.DewPointC(); has { // quite dry air has none
				v.DewPointC = &dew
			}
		}
		if z.source != nil {
			v.Mono, v.Accuracy, v.Sensors, v.LeftOut = z.source.mono, b.zoneAccuracy(z, now), names(z.speak), b.leftOut(z, now)
			if len(z.speak) == 1 {
				v.Sensor = z.source.ID
			}
		}
		views = append(views, v.Rounded())
	}
	return views
}

func (b *Bench) scaleViews(state record.State, now time.Time) []view.Scale {
	views := make([]view.Scale, 0, len(b.shop.Scales))
	for _, c := range b.shop.Scales {
		s := b.scales[c.ID]
		is, why := s.condition(now)
		v := view.Scale{ID: s.ID, DivisionG: s.DivisionG, Time: s.last.At, Quality: view.QualityGood, Why: why.text, Detail: why.detail, Up: is == health.Up, Lines: s.lines}
		switch {
		case is != health.Up:
			v.Quality = view.QualityBad
		case s.old(now):
			v.Quality, v.Why = view.QualityUncertain, b.shop.locale.Say("fault.weight-old", "scale", s.ID)
		case s.last.Over:
			v.Quality, v.Why = view.QualityBad, b.shop.locale.Say("fault.weight-over", "scale", s.ID)
		case s.last.Under:
			v.Quality, v.Why = view.QualityBad, b.shop.locale.Say("fault.weight-under", "scale", s.ID)
		}
		if s.last.HasWeight {
			g := s.last.Grams
			v.WeightG = &g
		}
		if _, settled := s.tracker.Settled(); settled && is == health.Up {
			v.Stable = true
		}
		if batch := weighing(b.state, s.ID); batch != nil && state.Batches[batch.ID] != nil {
			v.Batch = batch.ID
			if len(s.cups.Asked()) == 0 {
				v.Pouring, v.NotTaken, v.CupBackG = b.pouring(batch, s, v.Stable && !s.old(now)), notTaken(batch.Mix, s), cupBack(batch.Mix.Pan)
			}
		}
		v.KeyRefused = s.keyRefusalView(weighing(b.state, s.ID), now)
		v.WhichCup = slices.DeleteFunc(slices.Clone(s.cups.Open()), func(id string) bool { return state.Batches[id] == nil })
		views = append(views, v.Rounded())
	}
	return views
}
