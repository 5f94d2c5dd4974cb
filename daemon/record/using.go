package record

import (
	"maps"
	"slices"

	"potlifed/model/cure"
	"potlifed/model/lifecycle"
)

// The kinds about the use and the end of a finished batch.
const (
	KindLoaded   Kind = "loaded"
	KindUnloaded Kind = "unloaded"
	KindGood     Kind = "good"
	KindClosed   Kind = "closed"
)

// Loaded puts a batch on a press.
type Loaded struct {
	Batch string     `json:"batch" doc:"id of the batch"`
	Press string     `json:"press" doc:"id of the press"`
	Zone  string     `json:"zone" doc:"id of the press's zone"`
	Place cure.Place `json:"place" doc:"how the cup is placed"`
}

// Unloaded takes a batch off a press, or lifts the stop that is left on a press after its
// batch went off.
type Unloaded struct {
	Batch string     `json:"batch,omitempty" doc:"id of the batch; absent when a stop was lifted"`
	Press string     `json:"press" doc:"id of the press"`
	Zone  string     `json:"zone" doc:"id of the zone that the batch is in now"`
	Place cure.Place `json:"place" doc:"how the cup is placed"`
}

// Good records that a person looked at the batch and found it good.
type Good struct {
	Batch string `json:"batch" doc:"id of the batch"`
}

// Closed ends a batch.
type Closed struct {
	Batch     string              `json:"batch" doc:"id of the batch"`
	Ink       string              `json:"ink" doc:"id of the ink"`
	Press     string              `json:"press,omitempty" doc:"id of the press that it was on"`
	Outcome   lifecycle.Outcome   `json:"outcome" doc:"used-up, discarded, went-off or not-known"`
	StillGood lifecycle.StillGood `json:"still_good" doc:"whether it was still good: yes, no or unknown"`
	Seen      lifecycle.Seen      `json:"seen" doc:"whether somebody saw it go off (now) or it had gone off before (earlier)"`
	LeftG     *float64            `json:"left_g,omitempty" doc:"mass left in the cup in g"`
	End
}

func (Loaded) Kind() Kind   { return KindLoaded }
func (Unloaded) Kind() Kind { return KindUnloaded }
func (Good) Kind() Kind     { return KindGood }
func (Closed) Kind() Kind   { return KindClosed }

func (e Loaded) About() string   { return e.Batch }
func (e Unloaded) About() string { return e.Batch }
func (e Good) About() string     { return e.Batch }
func (e Closed) About() string   { return e.Batch }

func (e Loaded) apply(s *State, _ Record) {
	for _, p := range slices.Sorted(maps.Keys(s.Presses)) {
		if s.Presses[p].Batch == e.Batch {
			s.setPress(p, Press{WentOff: s.Presses[p].WentOff})
		}
	}
	if before := s.Presses[e.Press].Batch; before != "" {
		s.change(before, func(b *Batch) { b.Press, b.Used = "", true })
	}
	s.change(e.Batch, func(b *Batch) {
		b.Press, b.Used, b.Zone, b.Basis.Place = e.Press, true, e.Zone, e.Place
	})
	s.setPress(e.Press, Press{Batch: e.Batch})
	s.pressSaid(e.Press)
}

func (e Unloaded) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Press, b.Used, b.Zone, b.Basis.Place = "", true, e.Zone, e.Place
	})
	s.setPress(e.Press, Press{})
	s.pressSaid(e.Press)
}

func (e Good) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) {
		b.GoodAt = r.Stamp.At
		b.PartWentOff, b.YoungerThanDead = false, false
		if b.Ensemble != nil {
			b.Ensemble = b.Ensemble.Clone()
			b.Ensemble.Good()
		}
	})
}

func (e Closed) apply(s *State, r Record) {
	old, ok := s.Batches[e.Batch]
	if !ok {
		return
	}
	b := *old
	if b.Press != "" {
		left := Press{}
		if e.Outcome == lifecycle.WentOff {
			left.WentOff = e.Batch
		}
		s.setPress(b.Press, left)
	}
	if e.Outcome == lifecycle.WentOff {
		s.markParts(b)
	}
	b.ClosedAt, b.Outcome, b.StillGood, b.LeftG = r.Stamp.At, e.Outcome, e.StillGood, e.LeftG
	seen := e.Outcome == lifecycle.WentOff && e.Seen == lifecycle.SeenNow
	s.keepSeries(b, seen)
	if seen {
		s.keepTrend(b)
	}
	s.end(b)
	s.countEnd(e.Outcome, e.End)
}
