package view

import (
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// Life is an open batch's life as it stands, for questions that change nothing.
type Life struct {
	Cloud   *cure.Cloud // not to be changed
	Place   cure.Place
	MixedAt time.Time
}

// In is when the batch would end if it stood in the given air from now on, at its own
// place; the air drifts from there as it does.
func (l Life) In(a air.State) Span[time.Time] {
	ends := l.Cloud.Forecast(l.Place, a, 0)
	return Span[time.Time]{
		Expected: l.MixedAt.Add(ends.Expected), Low: l.MixedAt.Add(ends.Low), High: l.MixedAt.Add(ends.High),
	}
}
