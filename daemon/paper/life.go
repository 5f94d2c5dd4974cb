package paper

import (
	"time"

	"potlifed/model/cure"
)

// Life is what a batch has lived through along a climate.
type Life struct {
	Nominal  time.Duration  // the age at which the nominal has spent its life; the last air stays beyond the record
	Spent    float64        // the nominal's spent life at the instant that was asked for
	Ensemble *cure.Ensemble // at Last
	Last     Row            // as far as the record was needed
	// LongestGap is the longest time between two rows in use.
	LongestGap time.Duration
}

// Live lets a batch of an ink live along the climate, from its mixing on, as far as needed
// for its end and for its spent life at until. The climate must cover both instants.
func (c Climate) Live(ink cure.Ink, place cure.Place, sensor cure.Sensor, mixedAt, until time.Time) Life {
	b := batchAlong{ink: ink, place: place, rows: c.From(mixedAt)}
	b.live(sensor, until)
	last := b.rows[b.reached]
	return Life{Nominal: b.nominalEnd(), Spent: b.spent, Ensemble: b.ensemble, Last: last, LongestGap: b.rows.longestGap(last.At)}
}

// batchAlong is a batch on its way along the rows of a climate, the first of which is its mixing.
type batchAlong struct {
	ink      cure.Ink
	place    cure.Place
	rows     Climate
	ensemble *cure.Ensemble
	reached  int     // row up to which the ensemble has lived
	spent    float64 // nominal, at until

	// dying is the ensemble before the step in which the nominal's life passes 1, and dies that step.
	dying *cure.Ensemble
	dies  cure.Step
}

// live goes along the rows until everything asked for is behind: the nominal's end, the last level of the risk, and until.
func (b *batchAlong) live(sensor cure.Sensor, until time.Time) {
	b.ensemble = cure.New(b.ink, sensor, 0, b.rows[0].Air)
	for b.reached+1 < len(b.rows) {
		from, to := b.rows[b.reached], b.rows[b.reached+1]
		step := cure.Step{Duration: to.At.Sub(from.At), From: from.Air, To: to.Air, Kind: cure.Measured}
		before := b.ensemble.Clone()
		b.ensemble.Advance(b.place, step)
		b.reached++
		switch {
		case !to.At.After(until):
			b.spent = b.ensemble.Spent()
		case from.At.Before(until):
			b.spent = spentAfter(before, b.place, step, until.Sub(from.At))
		}
		if b.dying == nil && b.ensemble.Spent() >= 1 {
			b.dying, b.dies = before, step
		}
		if b.dying != nil && b.ensemble.Risk() >= cure.HighRisk && !to.At.Before(until) {
			return
		}
	}
}

// spentAfter is the nominal spent life a part of a step later.
func spentAfter(c *cure.Ensemble, p cure.Place, s cure.Step, d time.Duration) float64 {
	c = c.Clone()
	c.Advance(p, s.Part(d))
	return c.Spent()
}

// nominalEnd is the age at which the nominal has spent its life. Beyond the record the last air stays.
func (b *batchAlong) nominalEnd() time.Duration {
	if b.dying == nil {
		last := b.rows[len(b.rows)-1].Air
		// Twice what is left at the settled rate is beyond the end whatever the cup's temperature is now, but for a cup that is still
		// cold; the loop sees to that.
		step := cure.Step{From: last, To: last, Kind: cure.Measured}
		b.dying = b.ensemble.Clone()
		rate := cure.StillAir(b.ink, b.place, last).SpentPerH
		step.Duration = time.Duration(min(2*(1-b.dying.Spent())/rate, cure.Horizon.Hours()) * float64(time.Hour))
		for age := step.Duration; spentAfter(b.dying, b.place, step, step.Duration) < 1 && age < cure.Horizon; age += step.Duration {
			b.dying.Advance(b.place, step)
		}
		b.dies = step
	}
	low, high := time.Duration(0), b.dies.Duration
	for high-low > time.Microsecond {
		middle := low + (high-low)/2
		if spentAfter(b.dying, b.place, b.dies, middle) < 1 {
			low = middle
		} else {
			high = middle
		}
	}
	return b.dying.Age() + high
}
