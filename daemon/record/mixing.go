package record

import (
	"maps"
	"strconv"
	"time"

	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// The kinds of how a batch is mixed.
const (
	KindMixStarted    Kind = "mix-started"
	KindPanChanged    Kind = "pan-changed"
	KindHardenerBegun Kind = "hardener-begun"
	KindConfirmed     Kind = "confirmed"
	KindCorrected     Kind = "corrected"
	KindRested        Kind = "rested"
	KindRecorded      Kind = "recorded"
	KindAbandoned     Kind = "abandoned"
)

// MixStarted begins a guided mix.
type MixStarted struct {
	Batch  string    `json:"batch"`
	Day    string    `json:"day"` // local, 20060102: batches are numbered by the day
	Ink    string    `json:"ink"`
	Scale  string    `json:"scale"`
	Zone   string    `json:"zone"`
	Press  string    `json:"press,omitempty"` // meant for, not loaded yet
	Cup    string    `json:"cup"`
	Colour string    `json:"colour_class"`
	Art    string    `json:"artwork"`
	Mix    guide.Mix `json:"mix"`
	Basis  Basis     `json:"basis"`
	// ThinnerReason is why the thinner's share is not the usual start.
	ThinnerReason string `json:"thinner_reason,omitempty"`
}

// PanChanged says what the scale's weight did without a pour: gone to zero, tared,
// the cup back.
type PanChanged struct {
	Batch  string    `json:"batch"`
	Scale  string    `json:"scale"`
	Change string    `json:"change"`
	Pan    weigh.Pan `json:"pan"`
}

// HardenerBegun starts a batch's clock: the first moment the weight rose in step
// hardener and stayed up.
type HardenerBegun struct {
	Batch     string    `json:"batch"`
	MixedAt   time.Time `json:"mixed_at"`
	WeighingU float64   `json:"weighing_u"`
}

// Confirmed is a step that a person confirmed; the mix is as it stands afterwards.
type Confirmed struct {
	Batch    string     `json:"batch"`
	Step     guide.Step `json:"step"`
	Next     guide.Step `json:"next"` // the same step when the weight was out of tolerance
	Part     mix.Part   `json:"part,omitempty"`
	Can      string     `json:"can,omitempty"`
	AddedG   float64    `json:"added_g"`
	WeightG  float64    `json:"weight_g"`
	Override string     `json:"override,omitempty"`
	// MixedAt is set when this confirm starts the clock: no rise was seen.
	MixedAt *time.Time `json:"mixed_at,omitempty"`
	Mix     guide.Mix  `json:"mix"`
}

// Corrected re-labels or undoes the last pour.
type Corrected struct {
	Batch   string     `json:"batch"`
	Part    mix.Part   `json:"part,omitempty"`
	Undo    bool       `json:"undo,omitempty"`
	MixedAt *time.Time `json:"mixed_at,omitempty"` // of a pour re-labelled as hardener
	Mix     guide.Mix  `json:"mix"`
}

// Rested says that an ink's rest is over.
type Rested struct {
	Batch string    `json:"batch"`
	Mix   guide.Mix `json:"mix"`
}

// Recorded is a batch that was mixed without the guide.
type Recorded struct {
	Batch   string              `json:"batch"`
	Day     string              `json:"day"`
	Ink     string              `json:"ink"`
	Zone    string              `json:"zone"`
	Cup     string              `json:"cup"`
	MixedAt time.Time           `json:"mixed_at"`
	Mix     guide.Mix           `json:"mix"`
	Cans    map[mix.Part]string `json:"cans,omitempty"`
	Basis   Basis               `json:"basis"`
}

// Abandoned ends a mix that was not finished.
type Abandoned struct {
	Batch  string  `json:"batch"`
	Ink    string  `json:"ink"`
	WasteG float64 `json:"waste_g"`
}

// Basis is what a batch's life is computed from, fixed when the batch begins: a
// later change of the configuration is for later batches.
type Basis struct {
	Life   cure.Ink    `json:"life"`
	Sensor cure.Sensor `json:"sensor"`
	Place  cure.Place  `json:"place"`
	// WeighingU is the relative standard uncertainty of the ratio of ink to hardener.
	WeighingU float64 `json:"weighing_u"`
	Solvent   Solvent `json:"solvent"`
}

func (MixStarted) Kind() Kind    { return KindMixStarted }
func (PanChanged) Kind() Kind    { return KindPanChanged }
func (HardenerBegun) Kind() Kind { return KindHardenerBegun }
func (Confirmed) Kind() Kind     { return KindConfirmed }
func (Corrected) Kind() Kind     { return KindCorrected }
func (Rested) Kind() Kind        { return KindRested }
func (Recorded) Kind() Kind      { return KindRecorded }
func (Abandoned) Kind() Kind     { return KindAbandoned }

func (e MixStarted) About() string    { return e.Batch }
func (e PanChanged) About() string    { return e.Batch }
func (e HardenerBegun) About() string { return e.Batch }
func (e Confirmed) About() string     { return e.Batch }
func (e Corrected) About() string     { return e.Batch }
func (e Rested) About() string        { return e.Batch }
func (e Recorded) About() string      { return e.Batch }
func (e Abandoned) About() string     { return e.Batch }

func (e MixStarted) apply(s *State, r Record) {
	s.number(e.Day)
	s.setAside(e.Scale, e.Batch, r.Stamp.At)
	s.Batches = maps.Clone(s.Batches)
	s.Batches[e.Batch] = &Batch{
		ID: e.Batch, Ink: e.Ink, Scale: e.Scale, Zone: e.Zone, For: e.Press, Cup: e.Cup,
		Colour: e.Colour, Art: e.Art, Phase: lifecycle.Mixing, Mix: e.Mix, Basis: e.Basis, StartedAt: r.Stamp.At,
		ThinnerReason: e.ThinnerReason,
	}
}

func (e PanChanged) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) { b.Mix = b.Mix.Weighed(e.Pan) })
}

func (e HardenerBegun) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Basis.WeighingU = e.WeighingU
		s.begin(b, e.MixedAt)
	})
}

func (e Confirmed) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Mix = e.Mix
		if n := len(e.Mix.Pours); e.Part != "" && e.Can != "" && n > 0 && e.Mix.Pours[n-1].Can == "" {
			b.Cans = maps.Clone(b.Cans)
			if b.Cans == nil {
				b.Cans = map[mix.Part]string{}
			}
			b.Cans[e.Part] = e.Can
		}
		if e.MixedAt != nil {
			s.begin(b, *e.MixedAt)
		}
		b.Phase = phaseOf(b)
		b.fill()
		if e.Step == guide.Cup && e.WeightG > 0 && e.Mix.Pan.BaseG > 0 {
			s.CupEmptyG = maps.Clone(s.CupEmptyG)
			s.CupEmptyG[b.Cup] = e.Mix.Pan.BaseG
		}
	})
}

func (e Corrected) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Mix = e.Mix
		b.Phase = phaseOf(b)
		b.fill()
		switch {
		case e.MixedAt != nil:
			s.begin(b, *e.MixedAt)
		case e.Part != "" && e.Mix.Poured().HardenerG == 0:
			// What was taken for hardener was something else: nothing is reacting. An
			// undone pour of hardener leaves the clock running: some may be in the cup.
			b.MixedAt, b.GoodAt, b.Cloud = time.Time{}, time.Time{}, nil
		}
	})
}

func (e Rested) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Mix = e.Mix
		b.Phase = phaseOf(b)
		b.fill()
	})
}

func (e Recorded) apply(s *State, r Record) {
	s.number(e.Day)
	b := &Batch{
		ID: e.Batch, Ink: e.Ink, Zone: e.Zone, Cup: e.Cup, Mix: e.Mix, Cans: e.Cans,
		Basis: e.Basis, StartedAt: r.Stamp.At,
	}
	b.Phase = phaseOf(b)
	b.fill()
	s.begin(b, e.MixedAt)
	if !r.Stamp.Synced {
		b.AtLeast, b.Countable = true, true
		b.Cloud.MarkAtLeast()
	}
	s.Batches = maps.Clone(s.Batches)
	s.Batches[b.ID] = b
}

func (e Abandoned) apply(s *State, r Record) {
	old, ok := s.Batches[e.Batch]
	if !ok {
		return
	}
	b := *old
	b.ClosedAt, b.Outcome, b.StillGood = r.Stamp.At, lifecycle.Abandoned, lifecycle.GoodUnknown
	s.end(b)
}

// phaseOf is the phase that the guided step stands for.
func phaseOf(b *Batch) lifecycle.Phase {
	switch b.Mix.Step {
	case guide.Rest:
		return lifecycle.Resting
	case guide.Load:
		return lifecycle.Open
	}
	return lifecycle.Mixing
}

// number counts the day's batches.
func (s *State) number(day string) {
	if day > s.Day {
		s.Day, s.Number = day, 0
	}
	s.Number++
}

// NextID is the id that the next batch begun on the given local day (20060102) will
// have.
func (s State) NextID(day string) string {
	s.number(day)
	return s.Day[4:] + "-" + strconv.Itoa(s.Number)
}
