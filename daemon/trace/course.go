package trace

import (
	"context"
	"maps"
	"math"
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/words"
)

// Course is how the life of a batch went: what was spent of it, what was expected, and what
// people found.
type Course struct {
	Past
	Moments   []Moment
	Forecasts []Forecast
}

// Moment is a batch at the end of a closed step of its air.
type Moment struct {
	At    time.Time
	Spent float64 // share of the pot life; 1 is the nominal end
	Risk  float64 // probability that it was past its pot life, 0 to 1
}

// Forecast is when the batch was expected to end, as seen at a moment, if the air stayed as it was
// then: half of such batches end before Expected, one in ten before Low, nine in ten before High.
type Forecast struct{ At, Low, Expected, High time.Time }

// forecastEvery is how often a forecast is shown: a life of eight hours has about fifty.
const forecastEvery = 10 * time.Minute

// CourseOf returns the course of the newest batch of an id that began at or before the event of
// the given number; 0 means the newest of all. An open batch's course ends with the last closed
// step. The error is ErrUnknown or that of the journal.
func CourseOf(ctx context.Context, j Journal, id string, seq uint64) (Course, error) {
	if seq == 0 {
		seq = math.MaxUint64
	}
	l, err := follow(ctx, j, id, seq)
	if err != nil {
		return Course{}, err
	}
	c := Course{Past: l.batch(words.Locale{})} // its warnings are not shown
	if l.is.MixedAt.IsZero() {
		return c, nil
	}
	b := breath{life: &l, state: record.NewState(""), bearers: l.bearers()}
	take := func(r record.Record) error {
		if err := b.take(r); err != nil {
			return err
		}
		if e, ok := r.Body.(record.AirStep); ok {
			c.add(b.bearer(), e)
		}
		return nil
	}
	if err := j.Replay(ctx, slices.Collect(maps.Keys(l.all)), slices.Collect(maps.Keys(l.zones)), l.begun().Add(-clockMoved), take); err != nil {
		return Course{}, err
	}
	return c, nil
}

// add notes how a batch is after a step of air; on is nil before its beginning.
func (c *Course) add(on *record.Batch, e record.AirStep) {
	if on == nil || on.Ensemble == nil || on.Zone != e.Zone || !on.ClosedAt.IsZero() {
		return
	}
	at := on.MixedAt.Add(on.Ensemble.Age())
	if n := len(c.Moments); n > 0 && !at.After(c.Moments[n-1].At) {
		return
	}
	c.Moments = append(c.Moments, Moment{At: at, Spent: on.Ensemble.Spent(), Risk: on.Ensemble.Risk()})
	if n := len(c.Forecasts); n > 0 && at.Sub(c.Forecasts[n-1].At) < forecastEvery {
		return
	}
	ends := on.Ensemble.Forecast(on.Basis.Place, e.After, 0)
	c.Forecasts = append(c.Forecasts, Forecast{
		At: at, Low: on.MixedAt.Add(ends.Low), Expected: on.MixedAt.Add(ends.Expected), High: on.MixedAt.Add(ends.High),
	})
}
