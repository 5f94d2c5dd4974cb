package bench

import (
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/cure"
)

// test keeps a test of a print. Where it is known when the print was made, an adhesion or rub test tells of the
// end at which prints do not adhere any more.
func (b *Bench) test(now time.Time, by actor.Name, c request.TestBatch) (any, error) {
	batch, err := b.tested(c, now)
	if err != nil {
		return nil, err
	}
	e := record.Tested{Batch: batch.ID, Test: c.Kind, Result: c.Result, Corrects: c.Corrects}
	if c.PrintedAt != nil {
		if batch.Phase != "closed" {
			b.closeAir(batch.Zone, now)
			batch = b.state.Batches[batch.ID]
		}
		e.PrintedAt = *c.PrintedAt
		e.Spent, e.AgeH = b.spentAt(batch, e.PrintedAt)
	}
	b.decide(now, by, e)
	return b.viewOf(batch.ID, now)
}

// tested returns the batch of a test. A closed one is meant only where it is known when the print was made: until
// then the test is of a batch that is in use.
func (b *Bench) tested(c request.TestBatch, now time.Time) (*record.Batch, error) {
	batch, err := b.openBatch(c.Batch)
	if closed, known := b.state.Find(c.Batch); err != nil && known && c.PrintedAt != nil {
		batch, err = closed, nil
	}
	if err != nil {
		return nil, err
	}
	if c.Corrects != 0 && !slices.ContainsFunc(batch.Tests, func(t record.Test) bool { return t.Seq == c.Corrects }) {
		return nil, request.Refuse(request.NotFound, "no such test", "batch %s has no test with the number %d that counts", batch.ID, c.Corrects)
	}
	if at := c.PrintedAt; at != nil {
		last := now
		if batch.Phase == "closed" {
			last = batch.ClosedAt
		}
		if batch.MixedAt.IsZero() || at.Before(batch.MixedAt) || at.After(last) {
			return nil, request.Refuse(request.Invalid, "printed when", "printed_at %s is not between the first hardener of batch %s and its end or now", at.Format(time.RFC3339), batch.ID).Saying("printed-outside-life", "batch", batch.ID)
		}
	}
	return batch, nil
}

// spentAt returns the share of the pot life of a batch that was spent at a moment of its past, and the age in h
// that this is at 20 °C and 50 % relative humidity. The air since is that of the zone it is in; before the earliest
// air that is kept, it is taken as at that time.
func (b *Bench) spentAt(batch *record.Batch, at time.Time) (spent, ageH float64) {
	ink, until := batch.Basis.Life, batch.ClosedAt
	spent = batch.Spent
	if batch.Ensemble != nil {
		ink, spent, until = batch.Ensemble.Ink(), batch.Ensemble.Spent(), batch.MixedAt.Add(batch.Ensemble.Age())
	}
	start, steps := b.state.Path(batch.Zone, at)
	since := cure.New(ink, batch.Basis.Sensor, 0, start)
	for _, step := range steps {
		left := until.Sub(at.Add(since.Age()))
		if left <= 0 {
			break
		}
		if step.Duration > left {
			step = step.Part(left)
		}
		since.Advance(batch.Basis.Place, step)
	}
	spent = max(spent-since.Spent(), 0)
	return spent, spent * ink.LRefH
}
