// Package outcomes reads from the journal how batches ended and which air each one was in:
// the records that an ink's parameters are fitted to.
package outcomes

import (
	"context"
	"maps"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/cure"
	"potlifed/model/learn"
	"potlifed/model/lifecycle"
)

// Journal is what has been recorded.
type Journal interface {
	// Each shows every record, oldest first, until each fails.
	Each(ctx context.Context, each func(record.Record) error) error
}

// Batch is a closed batch with what it had lived through.
type Batch struct {
	ID, Family, Ink string
	MixedAt, GoodAt time.Time
	ClosedAt        time.Time
	AtGood, AtClose learn.Lived // AtGood is empty while nobody had looked
	Outcome         lifecycle.Outcome
	StillGood       lifecycle.StillGood
	Seen            lifecycle.Seen
	WeighingU       float64
	// AtLeast: its age was only a lower bound, so that nothing can be learned from it.
	AtLeast bool
	Tests   []record.Test
}

// Read walks through the journal and returns the closed batches, oldest first. Mixes
// that were abandoned before their hardener went in, or at all, are no batches.
//
// Air older than the journal's retention is there as means of minutes and
// quarter-hours, which a batch's dose hardly sees.
func Read(ctx context.Context, j Journal) ([]Batch, error) {
	w := walk{state: record.NewState(""), journeys: map[string]*journey{}, before: map[uint64]map[string]*journey{}}
	if err := j.Each(ctx, w.take); err != nil {
		return nil, err
	}
	return w.closed, nil
}

// walk follows the records with a journey for each batch whose life has begun.
type walk struct {
	state    record.State
	journeys map[string]*journey
	closed   []Batch
	before   map[uint64]map[string]*journey // those of what may still be taken back, by event
}

// journey is what a batch has lived through.
type journey struct {
	*learn.Journey
	atGood learn.Lived
}

// clone copies a journey that goes on in two cups.
func (j *journey) clone() *journey {
	c := *j
	c.Journey = j.Journey.Clone()
	return &c
}

func (w *walk) take(r record.Record) error {
	before := w.state
	was := maps.Clone(w.journeys)
	w.end(before, r)
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
		if e.MixedAt != nil { // its life began with another pour than was thought
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
		if b.Cloud == nil {
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

// gap lets a journey go on through time that was counted when the clock was set.
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

// end notes a batch that this record closes.
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
		WeighingU: b.Basis.WeighingU, AtLeast: b.AtLeast, Tests: b.Tests,
	})
	delete(w.journeys, e.Batch)
}
