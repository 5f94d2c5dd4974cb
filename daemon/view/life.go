package view

import (
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// Life is the life of an open batch at the moment of the snapshot, for questions that change
// nothing.
type Life struct {
	Ensemble *cure.Ensemble // not to be changed
	Place    cure.Place
	MixedAt  time.Time
	// Instrument follows the batch, see [TrendInstrument]; empty for none.
	Instrument string
	Weighing   float64 // relative standard uncertainty of the mixing ratio, 0 where it is not known
}

// In returns when the batch would end if it was in the given air from now on, at its own place.
// The air drifts from there.
func (l Life) In(a air.State) Span[time.Time] {
	ends := l.Ensemble.Forecast(l.Place, a, 0)
	return Span[time.Time]{
		Expected: l.MixedAt.Add(ends.Expected), Low: l.MixedAt.Add(ends.Low), High: l.MixedAt.Add(ends.High),
	}
}
