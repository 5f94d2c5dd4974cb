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

// mostPrints bounds what one report may say: no press prints as much in its life.
const mostPrints = 1e12

// timely is how far a report's time may be from the bench's and still count as now. It covers
// clocks of devices that differ, and a person who corrects what they just reported.
const timely = time.Minute

// report is a report of prints, or of rejects by one kind of defect.
type report struct {
	press, defect string // no defect: prints
	total         *uint64
	add           *int64
	at            *time.Time
}

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

// reports returns the press that a change is a report of; ok is false for any other change.
func reports(c request.Change) (press string, ok bool) {
	switch c := c.(type) {
	case request.CountPrints:
		return c.Press, true
	case request.CountDefects:
		return c.Press, true
	}
	return "", false
}

// late reports whether the report is about a time before the present minute.
func (r report) late(now time.Time) bool { return r.at != nil && now.Sub(*r.at) > timely }

// of names what a report counts.
func (r report) of() string {
	if r.defect == "" {
		return "prints"
	}
	return "rejects"
}

func tooMany(of, n string) error {
	return request.Refuse(request.Invalid, of, "%s %s: want %d at most", n, of, uint64(mostPrints))
}

// check refuses a report that contradicts itself or is out of range.
func (r report) check(now time.Time) error {
	if (r.total == nil) == (r.add == nil) {
		return request.Refuse(request.Invalid, r.of(), `say either "total", the state of the counter, or "add", how many since the last report`)
	}
	if r.total != nil && *r.total > mostPrints {
		return tooMany(r.of(), fmt.Sprint(*r.total))
	}
	if r.add != nil && (*r.add > mostPrints || *r.add < -mostPrints) {
		return tooMany(r.of(), fmt.Sprint(*r.add))
	}
	switch {
	case r.at == nil:
	case r.at.Sub(now) > timely:
		return request.Refuse(request.Invalid, "time", "at %s is in the future: it is %s on the bench's clock", r.at.Format(time.RFC3339), now.Format(time.RFC3339))
	case now.Sub(*r.at) > request.MaxLate:
		return request.Refuse(request.Invalid, "time", "at %s is more than %.0f minutes ago: it is %s on the bench's clock", r.at.Format(time.RFC3339), request.MaxLate.Minutes(), now.Format(time.RFC3339))
	}
	return nil
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

// closeTallies writes the events of all counts that have none yet.
func (b *Bench) closeTallies(now time.Time) {
	for _, t := range b.state.Open {
		b.decide(now, t.By, t.Event())
	}
}

// endsMinute reports whether a body contains the reports of a minute.
func endsMinute(body record.Body) bool {
	switch body.(type) {
	case record.Printed, record.Defects:
		return true
	}
	return false
}
