// Package outcomes reads from the journal how batches ended and which air each one was in. The
// parameters of an ink are fitted to these records.
package outcomes

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/cure"
	"potlifed/model/learn"
	"potlifed/model/lifecycle"
)

// Journal reads what was recorded.
type Journal interface {
	// Each calls fn for every record, oldest first, and stops at the first error of fn.
	Each(ctx context.Context, each func(record.Record) error) error
}

// Batch is a closed batch with what it was exposed to.
type Batch struct {
	ID, Family, Ink string
	MixedAt, GoodAt time.Time
	ClosedAt        time.Time
	AtGood, AtClose learn.Lived // empty while nobody had looked
	Outcome         lifecycle.Outcome
	StillGood       lifecycle.StillGood
	Seen            lifecycle.Seen
	WeighingU       float64
	// AtLeast: its age was only a lower limit, so that nothing can be learned from it.
	AtLeast bool
	Tests   []record.Test
	// Facts are what may differ between batches of one ink.
	Facts learn.Facts
}

// Read goes through the journal and returns the closed batches and the tests in jars. Mixes that were
// abandoned, or that never got hardener, are not batches. The error is that of the journal.
//
// Air older than the journal's retention is stored as means of minutes and quarter-hours, which
// hardly changes the dose of a batch.
func Read(ctx context.Context, j Journal) (Past, error) {
	w := walk{state: record.NewState(""), journeys: map[string]*journey{}, before: map[uint64]map[string]*journey{}}
	if err := j.Each(ctx, w.take); err != nil {
		return Past{}, err
	}
	return Past{Batches: w.closed, Jars: w.state.JarTests}, nil
}

// Past is what a journal says about the lives of inks.
type Past struct {
	Batches []Batch                     // closed, oldest first
	Jars    map[string][]record.JarTest // tests in jars, by ink; the newest may be running
}

// walk goes through the records with a journey for each batch whose life has begun.
type walk struct {
	state    record.State
	journeys map[string]*journey
	closed   []Batch
	before   map[uint64]map[string]*journey // journeys before changes that can still be undone, by event
}

// journey is what a batch was exposed to.
type journey struct {
	*learn.Journey
	atGood learn.Lived
}

// clone returns a copy of a journey that goes on in two cups.
func (j *journey) clone() *journey {
	c := *j
	c.Journey = j.Journey.Clone()
	return &c
}

func (w *walk) take(r record.Record) error {
	before := w.state
	was := maps.Clone(w.journeys)
	w.end(before, r)
	w.tested(r)
	w.state = record.Apply(before, r)
	if e, ok := r.Body.(record.Undone); ok {
		w.undo(before, e)
	}
	w.keep(before, was)
	switch e := r.Body.(type) {
	case record.AirStep:
		for id, j := range w.journeys {
			if b := w.state.Batches[id]; b != nil && b.Zone == e.Zone {
				j.Advance(b.Basis.Place, e.Step)
			}
		}
		return nil
	case record.ClockChanged:
		w.gap(before, e)
	case record.Good:
		if j := w.journeys[e.Batch]; j != nil {
			j.atGood = j.Lived()
		}
	case record.Corrected:
		if e.MixedAt != nil { // its life began with another pour than was assumed
			delete(w.journeys, e.Batch)
		}
	case record.Split:
		if j := w.journeys[e.From]; j != nil {
			w.journeys[e.Batch] = j.clone()
		}
	case record.ToppedUp:
		if j := w.journeys[e.From]; j != nil && e.Older {
			w.journeys[e.Batch] = j
		}
		delete(w.journeys, e.From)
	}
	w.begin()
	return nil
}

// begin starts the journeys of batches whose life has begun with this record.
func (w *walk) begin() {
	for id, b := range w.state.Batches {
		j := w.journeys[id]
		if b.Ensemble == nil {
			delete(w.journeys, id)
			continue
		}
		if j != nil {
			continue
		}
		start, steps := w.state.Path(b.Zone, b.MixedAt)
		j = &journey{Journey: learn.NewJourney(start)}
		for _, s := range steps {
			j.Advance(b.Basis.Place, s)
		}
		w.journeys[id] = j
	}
}

// gap advances a journey over time that was counted when the clock was set.
func (w *walk) gap(before record.State, e record.ClockChanged) {
	for id, j := range w.journeys {
		old, now := before.Batches[id], w.state.Batches[id]
		if old == nil || now == nil || !old.AtLeast || now.AtLeast {
			continue
		}
		zone := w.state.Zones[now.Zone]
		j.Advance(now.Basis.Place, cure.Step{Duration: e.Step + old.Unseen, From: zone.Air, To: zone.Air, Kind: cure.Bridged, Uncertain: true})
	}
}

// factsOf returns what is known of a batch at its end.
func factsOf(b *record.Batch, e record.Closed, r record.Record) learn.Facts {
	facts := learn.Facts{Colour: b.Colour, Press: cmp.Or(e.Press, b.Press), Weekday: Weekday(b.MixedAt), ClosedBy: string(r.By)}
	facts.InkLot, facts.HardenerLot = b.LotNames()
	return facts
}

// Weekday returns the day of the week on which a batch was mixed, in the computer's time zone, such
// as monday.
func Weekday(mixed time.Time) string { return strings.ToLower(mixed.Local().Weekday().String()) }

// tested adds a test to a batch that is closed already.
func (w *walk) tested(r record.Record) {
	e, ok := r.Body.(record.Tested)
	if !ok {
		return
	}
	for i := range slices.Backward(w.closed) {
		if b := &w.closed[i]; b.ID == e.Batch {
			b.Tests = append(slices.Clone(b.Tests), record.Test{At: r.Stamp.At, Kind: e.Test, Result: e.Result, Seq: r.Seq, PrintedAt: e.PrintedAt, Spent: e.Spent})
			return
		}
	}
}

// end records a batch that this record closes.
func (w *walk) end(before record.State, r record.Record) {
	e, ok := r.Body.(record.Closed)
	if !ok {
		return
	}
	b, j := before.Batches[e.Batch], w.journeys[e.Batch]
	if b == nil || j == nil {
		return
	}
	w.closed = append(w.closed, Batch{
		ID: b.ID, Family: b.Family(), Ink: b.Ink, MixedAt: b.MixedAt, GoodAt: b.GoodAt, ClosedAt: r.Stamp.At,
		AtGood: j.atGood, AtClose: j.Lived(), Outcome: e.Outcome, StillGood: e.StillGood, Seen: e.Seen,
		WeighingU: b.Basis.WeighingU, AtLeast: b.AtLeast, Tests: b.Tests, Facts: factsOf(b, e, r),
	})
	delete(w.journeys, e.Batch)
}
