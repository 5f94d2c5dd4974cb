package bench

import (
	"time"

	"potlifed/daemon/record"
	"potlifed/model/airpath"
	"potlifed/model/cure"
)

// lookAhead is how old a life may be before it is derived again: alarms, lights and
// views of one tick share one.
const lookAhead = 100 * time.Millisecond

// lifeOf returns the life of a batch that has begun. The forecast is made once for
// each closed step; from there to now the batch is carried on in a copy that is
// thrown away.
func (b *Bench) lifeOf(s record.State, batch *record.Batch, now time.Time) airpath.Life {
	of := airpath.Batch{Ensemble: batch.Ensemble, Place: batch.Basis.Place, MixedAt: batch.MixedAt}
	l := b.lives[batch.ID]
	if l.Is(of) && now.Sub(l.At) < lookAhead && !now.Before(l.At) {
		return l
	}
	closed := *s.Zones[batch.Zone]
	var path *airpath.Path
	var staleAfter time.Duration
	open := airpath.Unread(closed, now)
	if z := b.zones[batch.Zone]; z != nil {
		path, staleAfter = &z.path, z.staleAfter()
		open = path.Open(closed, now, b.airSensors(z))
	}
	l = l.Follow(of, open, now, func() cure.Ends { return path.Forecast(of, closed, staleAfter) })
	b.lives[batch.ID] = l
	return l
}

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
