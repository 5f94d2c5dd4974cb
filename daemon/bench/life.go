package bench

import (
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// life is what is derived from a batch's cloud at one moment.
type life struct {
	cloud *cure.Cloud // it was derived from
	place cure.Place
	ends  cure.Ends // forecast from the last closed step

	at       time.Time // the look-ahead below is for this moment
	spent    float64
	risk     float64
	doubtful float64
	age      time.Duration
	// The ends in bench time, true to the risk: an end lies in the past exactly when
	// the risk has passed its level.
	expected, low, high time.Time
}

// lookAhead is how old a look-ahead may be before it is made anew: alarms, lights and
// views of one tick share one.
const lookAhead = 100 * time.Millisecond

// lifeOf returns the life of a batch that has begun. The forecast is made once for
// each closed step; from there to now the batch is carried on in a copy that is
// thrown away.
func (b *Bench) lifeOf(s record.State, batch *record.Batch, now time.Time) *life {
	l := b.lives[batch.ID]
	same := l != nil && l.cloud == batch.Cloud && l.place == batch.Basis.Place
	if same && now.Sub(l.at) < lookAhead && !now.Before(l.at) {
		return l
	}
	closed := s.Zones[batch.Zone]
	if !same {
		l = &life{cloud: batch.Cloud, place: batch.Basis.Place}
		l.ends = b.forecast(batch, *closed)
		b.lives[batch.ID] = l
	}
	ahead := batch.Cloud.Clone()
	ahead.Advance(batch.Basis.Place, b.openStep(batch.Zone, *closed, now))
	l.at = now
	l.spent, l.risk, l.doubtful, l.age = ahead.Spent(), ahead.Risk(), ahead.DoubtfulShare(), ahead.Age()
	l.low = endAt(batch.MixedAt.Add(l.ends.Low), now, l.risk >= cure.LowRisk)
	l.expected = endAt(batch.MixedAt.Add(l.ends.Expected), now, l.risk >= cure.ExpectedRisk)
	l.high = endAt(batch.MixedAt.Add(l.ends.High), now, l.risk >= cure.HighRisk)
	return l
}

// forecast looks ahead from the zone's last closed step, along what the zone's own
// record says of its air.
func (b *Bench) forecast(batch *record.Batch, closed record.Zone) cure.Ends {
	z := b.zones[batch.Zone]
	age := closed.Until.Sub(closed.ReadAt)
	if closed.ReadAt.IsZero() || z == nil {
		return batch.Cloud.Forecast(batch.Basis.Place, closed.Air, 0, cure.TowardsWorst(closed.Worst()))
	}
	var known []cure.ForecastOption
	if habit := z.habitOf(closed.Hours); habit != nil {
		known = append(known, cure.Along(habit.Ahead(closed.Air, closed.ReadAt)))
	}
	if age > b.staleAfter(z) {
		known = append(known, cure.TowardsWorst(closed.Worst()))
	}
	return batch.Cloud.Forecast(batch.Basis.Place, closed.Air, age, known...)
}

// habitOf is what the zone's air usually does, nil while too little is known. It is
// learned anew when an hour is over.
func (z *zone) habitOf(hours air.History) *air.Habit {
	if of := [2]int64{hours.First, hours.End()}; z.habitOfHours != of {
		z.habit, _ = hours.Habit()
		z.habitOfHours = of
	}
	return z.habit
}

// strays notes in a step without readings how far the zone's air usually strays.
func (z *zone) strays(hours air.History, step *cure.Step) {
	if habit := z.habitOf(hours); habit != nil {
		perRoot := habit.PerRootHour()
		step.DriftK, step.DriftPct = perRoot.TemperatureC, perRoot.HumidityPct
	}
}

// endAt keeps a forecast end on the side of now that the risk says. The two differ by
// seconds, since the forecast is from the last closed step.
func endAt(end, now time.Time, passed bool) time.Time {
	switch {
	case passed && end.After(now):
		return now
	case !passed && !end.After(now):
		return now.Add(time.Second)
	}
	return end
}

// openStep is the air from the zone's last closed step to now, as it would be closed
// now.
func (b *Bench) openStep(zone string, closed record.Zone, now time.Time) cure.Step {
	step := cure.Step{Duration: now.Sub(closed.Until), From: closed.Air, To: closed.Air, Kind: cure.Held}
	z := b.zones[zone]
	if z == nil { // a zone that the configuration no longer has
		step.Kind, step.Worst, step.Uncertain = cure.Stale, closed.Worst(), true
		return step
	}
	read := b.lastRead(z)
	step.Held = closed.Until.Sub(read)
	z.strays(closed.Hours, &step)
	age := now.Sub(read)
	switch {
	case read.IsZero() || age > b.staleAfter(z):
		step.Kind, step.Worst, step.Uncertain = cure.Stale, closed.Worst(), true
		if read.IsZero() {
			step.Held = 0
		}
	case z.source == nil || age > fresh(b.clock, z.source):
		step.Uncertain = true
	default:
		step.Kind = cure.Measured
		if !z.read.IsZero() {
			step.To = z.value
		}
	}
	return step
}

// forgetLives drops what was derived from batches that are closed.
func (b *Bench) forgetLives() {
	for id := range b.lives {
		if _, open := b.state.Batches[id]; !open {
			delete(b.lives, id)
			delete(b.promises, id)
		}
	}
}
