package bench

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

func (b *Bench) countPrints(now time.Time, by actor.Name, c request.CountPrints) (any, error) {
	r := report{press: c.Press, total: c.Total, at: c.At}
	if c.Add != nil {
		if *c.Add > mostPrints {
			return nil, tooMany("prints", fmt.Sprint(*c.Add))
		}
		r.add = new(int64(*c.Add))
	}
	return b.count(now, by, r)
}

func (b *Bench) countDefects(now time.Time, by actor.Name, c request.CountDefects) (any, error) {
	kinds := b.shop.defectKinds()
	if !slices.ContainsFunc(kinds, func(k view.DefectCount) bool { return k.Kind == c.Kind }) {
		var ids []string
		for _, k := range kinds {
			ids = append(ids, k.Kind)
		}
		return nil, request.Refuse(request.Invalid, "no such kind", "there is no kind of defect %q; the kinds are %s", c.Kind, strings.Join(ids, ", "))
	}
	return b.count(now, by, report{press: c.Press, defect: c.Kind, total: c.Total, add: c.Add, at: c.At})
}

// count records a report. It is on disk when it is answered; the event comes when its minute is
// over.
func (b *Bench) count(now time.Time, by actor.Name, r report) (any, error) {
	press, err := b.shop.pressNamed(r.press)
	if err != nil {
		return nil, request.Refuse(request.NotFound, "no such press", "there is no press %q in the configuration", r.press)
	}
	if err := r.check(now); err != nil {
		return nil, err
	}
	b.closeMinutesOfCounts(now)
	is := b.state.Prints[r.press]
	if r.defect != "" {
		is = b.state.Defects[r.press][r.defect]
	}
	at := conditions{time: now, batch: b.state.Presses[r.press].Batch}
	off, ofTakenOff := b.ofTakenOff(r, now)
	switch {
	case r.late(now):
		at = b.conditionsAt(r, press, now)
	case ofTakenOff:
		at.batch = off.with.batch
	}
	e := record.Counted{Press: r.press, Defect: r.defect, Batch: at.batch, Counter: r.total, Minute: at.time.Truncate(time.Minute).UTC(), Late: at.late}
	e.Day = b.shop.day(e.Minute)
	switch {
	case r.add != nil:
		e.Add = *r.add
	case is.Counter == nil: // its zero
	case *r.total < *is.Counter:
		e.Add = int64(*r.total)
	default:
		e.Add = int64(*r.total - *is.Counter)
	}
	if e.Add < 0 {
		if err := b.mayCorrect(is, e); err != nil {
			return nil, err
		}
	}
	if e.Add == 0 && (r.add != nil || is.Counter != nil && *is.Counter == *r.total) {
		return b.pressView(now, r.press), nil // it says nothing new
	}
	if !b.state.Tallies(e) {
		c := off.with.Conditions
		if !ofTakenOff {
			c = b.conditionsAt(r, press, now).Conditions
		}
		e.Conditions = &c
	}
	b.decide(now, by, e)
	if off.reported = off.reported || r.defect == ""; ofTakenOff {
		b.takenOff[r.press] = off
	}
	return b.pressView(now, r.press), nil
}

// mayCorrect refuses a correction after which a count would be below zero: of the press, of its
// day, or of the batch.
func (b *Bench) mayCorrect(is record.Count, e record.Counted) error {
	least := is.Total
	if e.Day == is.Day {
		least = min(least, is.Today)
	}
	counted, of := is.NoBatch, "without a batch"
	if e.Batch != "" {
		counted, of = 0, "with batch "+e.Batch
		if batch, known := b.state.Find(e.Batch); known {
			counted = batch.Defects[e.Defect]
		}
	}
	if least = min(least, counted); uint64(-e.Add) > least {
		return refuseAs("too-few", "too few", "%d rejects by %s cannot be taken off: %d are on record for %s today %s", -e.Add, e.Defect, least, e.Press, of).Saying("too-few", "press", e.Press)
	}
	return nil
}

// closeMinutesOfCounts writes the events of the counts whose minute is over.
func (b *Bench) closeMinutesOfCounts(now time.Time) {
	for _, t := range b.state.Open {
		if !t.First.Truncate(time.Minute).Equal(now.Truncate(time.Minute)) {
			b.closeTallies(now)
			return
		}
	}
}
