package record

import (
	"maps"
	"time"
)

// KindPrinted is the kind of [Printed].
const KindPrinted Kind = "printed"

// Printed records a number of prints of a press.
type Printed struct {
	Press   string  `json:"press" doc:"id of the press"`
	Batch   string  `json:"batch,omitempty" doc:"id of the batch that was loaded"`
	Add     uint64  `json:"add" doc:"prints since the last report"`
	Counter *uint64 `json:"counter,omitempty" doc:"state of the press's own counter"`
}

// Prints are the prints of a press.
type Prints struct {
	Total      uint64    `json:"total"`
	Counter    *uint64   `json:"counter,omitempty"`
	UnloadedAt time.Time `json:"bare,omitzero"` // when it last printed with nothing loaded
}

func (Printed) Kind() Kind    { return KindPrinted }
func (Printed) About() string { return "" }

func (e Printed) apply(s *State, r Record) {
	p := s.Prints[e.Press]
	p.Total += e.Add
	if e.Counter != nil {
		p.Counter = e.Counter
	}
	if e.Batch == "" && e.Add > 0 {
		p.UnloadedAt = r.Stamp.At
	}
	s.Prints = maps.Clone(s.Prints)
	if s.Prints == nil { // a checkpoint of a version that did not count prints
		s.Prints = map[string]Prints{}
	}
	s.Prints[e.Press] = p
}
