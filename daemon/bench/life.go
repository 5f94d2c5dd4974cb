package bench

import (
	"time"

	"potlifed/daemon/record"
	"potlifed/model/airpath"
	"potlifed/model/cure"
)

// lookAhead is how old the life of a batch on a press may be before it is derived again, since a light
// depends on it: alarms, lights and views of one tick share one. No light depends on that of another
// batch, which is derived again in each tick.
const lookAhead = 100 * time.Millisecond

// freshFor is how old the life of a batch may be before it is derived again.
func freshFor(batch *record.Batch) time.Duration {
	if batch.Press == "" {
		return tick
	}
	return lookAhead
}

// lifeOf returns the life of a batch that has begun, at now. The batch may be that of a state that is
// not the newest; the air is a condition and not a decision, and what it has done to the batch since
// then counts. From the end of the closed path to now the batch is carried on in a copy that is
// thrown away. A forecast takes longer than all the rest: where only steps of air were closed since
// the last one, that one is used until the loop has come to make a new one, see [Bench.foresee].
func (b *Bench) lifeOf(s record.State, batch *record.Batch, now time.Time) airpath.Life {
	newest := b.state.Batches[batch.ID]
	if newest != nil && onlyAir(batch, newest) {
		s, batch = b.state, newest
	}
	of := lived(batch)
	l := b.lives[batch.ID]
	if l.Is(of) && now.Sub(l.At) < freshFor(batch) && !now.Before(l.At) {
		return l
	}
	l = l.Follow(of, b.ahead(s, batch.Zone, now), now, func() cure.Ends { return b.forecast(s, batch) })
	if newest != nil && newest.Ensemble != nil && !l.Foresees(lived(newest)) {
		b.unforeseen[batch.ID] = true
	}
	b.lives[batch.ID] = l
	return l
}

// onlyAir reports whether a batch has become another by nothing but the steps of air that were closed.
func onlyAir(was, is *record.Batch) bool {
	return was != is && was.Ensemble != nil && is.Ensemble != nil && was.Zone == is.Zone && was.Basis.Place == is.Basis.Place &&
		was.MixedAt.Equal(is.MixedAt) && is.Ensemble.Age() >= was.Ensemble.Age() && is.Ensemble.Continues(was.Ensemble)
}

// ahead returns the air of a zone from the end of its closed path in a state to now.
func (b *Bench) ahead(s record.State, zone string, now time.Time) []cure.Step {
	closed, newest := *s.Zones[zone], *b.state.Zones[zone]
	z := b.zones[zone]
	if z == nil {
		return []cure.Step{airpath.Unread(closed, now)}
	}
	open := z.path.Open(newest, now, b.airSensors(z))
	if !newest.Until.After(closed.Until) {
		return []cure.Step{open}
	}
	return append(newest.Since(closed.Until), open)
}

// lived is what the life of a batch is derived from.
func lived(batch *record.Batch) airpath.Batch {
	return airpath.Batch{Ensemble: batch.Ensemble, Zone: batch.Zone, Place: batch.Basis.Place, MixedAt: batch.MixedAt}
}

// forecast returns when a batch will be over, as seen from the last closed step of its zone.
func (b *Bench) forecast(s record.State, batch *record.Batch) cure.Ends {
	var path *airpath.Path
	var staleAfter time.Duration
	if z := b.zones[batch.Zone]; z != nil {
		path, staleAfter = &z.path, z.staleAfter()
	}
	return path.Forecast(lived(batch), *s.Zones[batch.Zone], staleAfter)
}

// foresee makes one forecast that is due, of a batch on a press first: its light may depend on it. It
// reports whether the result is to be shown at once; those of other batches are shown together,
// when no more are due.
func (b *Bench) foresee() (show bool) {
	id, loaded := "", false
	for due := range b.unforeseen {
		if batch := b.state.Batches[due]; batch != nil && batch.Press != "" {
			id, loaded = due, true
			break
		}
		id = due
	}
	delete(b.unforeseen, id)
	batch := b.state.Batches[id]
	if batch != nil && batch.Ensemble != nil && !b.lives[id].Foresees(lived(batch)) {
		b.lives[id] = b.lives[id].Foreseen(lived(batch), b.forecast(b.state, batch))
	}
	show = loaded || len(b.unforeseen) == 0
	b.dirty = b.dirty || show
	return show
}

// forecastsDue returns a channel that is ready while forecasts are due, and never otherwise.
func (b *Bench) forecastsDue() <-chan struct{} {
	if len(b.unforeseen) == 0 {
		return nil
	}
	return always
}

// always is a channel that is ready at any time.
var always = func() <-chan struct{} {
	c := make(chan struct{})
	close(c)
	return c
}()

// shownSpent is the spent life of a closed batch: what it ended with, and no less than what was
// shown of it while it was open.
func (b *Bench) shownSpent(batch *record.Batch) float64 {
	return max(batch.Spent, b.lives[batch.ID].Spent)
}

// forgetLives drops what was derived from batches that are closed, but for the spent life
// that was shown while they are still in the state.
func (b *Bench) forgetLives() {
	for id, l := range b.lives {
		if _, open := b.state.Batches[id]; open {
			continue
		}
		delete(b.promises, id)
		if _, known := b.state.Find(id); known {
			b.lives[id] = l.Closed()
		} else {
			delete(b.lives, id)
		}
	}
}

// mustLook reports whether somebody must look at a batch before it goes onto a press: it is past the time to
// which it was safe, too likely to have gone off, or a part of it went off. One without hardener does not age
// yet.
func (b *Bench) mustLook(s record.State, batch *record.Batch, now time.Time) bool {
	if batch.Ensemble == nil {
		return false
	}
	l := b.lifeOf(s, batch, now)
	return batch.PartWentOff || l.Risk >= b.shop.Alarms.StopAtRisk || !l.Low.After(now)
}

// outlasts reports whether a batch is safe for longer than another. One without hardener does not age yet.
func (b *Bench) outlasts(s record.State, batch, other *record.Batch, now time.Time) bool {
	if batch.Ensemble == nil || other.Ensemble == nil {
		return true
	}
	return b.lifeOf(s, batch, now).Low.After(b.lifeOf(s, other, now).Low)
}
