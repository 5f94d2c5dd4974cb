package record

import (
	"maps"
	"slices"
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
	Batch         string    `json:"batch" doc:"id of the batch"`
	Day           string    `json:"day" doc:"local date, YYYYMMDD; batches are numbered by the day"`
	Ink           string    `json:"ink" doc:"id of the ink"`
	Scale         string    `json:"scale" doc:"id of the scale"`
	Zone          string    `json:"zone" doc:"id of the zone"`
	Press         string    `json:"press,omitempty" doc:"id of the press that the mix is meant for"`
	Cup           string    `json:"cup" doc:"id of the kind of cup"`
	Colour        string    `json:"colour_class" doc:"colour class"`
	Art           string    `json:"artwork" doc:"kind of artwork"`
	Mix           guide.Mix `json:"mix" doc:"state of the guided mix"`
	Basis         Basis     `json:"basis" doc:"what the batch's pot life is computed from"`
	ThinnerReason string    `json:"thinner_reason,omitempty" doc:"why the thinner share is not the usual start"`
}

// PanChanged records a change of the scale's weight that was no pour: zeroed, tared, or the
// cup lifted or returned.
type PanChanged struct {
	Batch  string    `json:"batch" doc:"id of the batch"`
	Scale  string    `json:"scale" doc:"id of the scale"`
	Change string    `json:"change" doc:"what happened: zeroed, tared, lifted, returned or ambiguous (a person is asked)"`
	Pan    weigh.Pan `json:"pan" doc:"what is known of the pan afterwards"`
}

// HardenerBegun starts a batch's pot life: the weight first rose in step hardener and
// stayed up.
type HardenerBegun struct {
	Batch     string    `json:"batch" doc:"id of the batch"`
	MixedAt   time.Time `json:"mixed_at" doc:"when the weight first rose for hardener and stayed up"`
	WeighingU float64   `json:"weighing_u" doc:"relative standard uncertainty of the ratio"`
}

// Confirmed records that a step was confirmed. Mix is the state after it.
type Confirmed struct {
	Batch    string     `json:"batch" doc:"id of the batch"`
	Step     guide.Step `json:"step" doc:"the step that was confirmed"`
	Next     guide.Step `json:"next" doc:"the step that follows; the same one when the weight was out of tolerance"`
	Part     mix.Part   `json:"part,omitempty" doc:"what was poured"`
	Can      string     `json:"can,omitempty" doc:"id of the can that it came from"`
	AddedG   float64    `json:"added_g" doc:"mass poured in g"`
	WeightG  float64    `json:"weight_g" doc:"weight on the scale in g"`
	Override string     `json:"override,omitempty" doc:"reason for continuing out of tolerance"`
	ByBench  bool       `json:"by_bench,omitempty" doc:"the bench confirmed the step by what the scale showed; nobody was asked"`
	MixedAt  *time.Time `json:"mixed_at,omitempty" doc:"start of the pot life, when this confirm starts it because no rise was seen"`
	Mix      guide.Mix  `json:"mix" doc:"state of the guided mix afterwards"`
}

// Corrected re-labels or undoes a pour, records one as another part than its step asks for, says from which can or
// material one came, or that a mix is used with a material that its ink does not go with.
type Corrected struct {
	Batch string `json:"batch" doc:"id of the batch"`
	// Pour is 0 in old journals, where it was always the last one.
	Pour     uint64     `json:"pour,omitempty" doc:"number of the event that recorded the pour; absent for one that was not taken yet"`
	NotTaken bool       `json:"not_taken,omitempty" doc:"the pour was not taken yet, and is recorded by this event"`
	Part     mix.Part   `json:"part,omitempty" doc:"what was really poured"`
	Undo     bool       `json:"undo,omitempty" doc:"the pour was removed from the record; it is still in the cup"`
	G        float64    `json:"g,omitempty" doc:"mass of the pour in g"`
	Can      string     `json:"can,omitempty" doc:"id of the can that it came from"`
	Material string     `json:"material,omitempty" doc:"id of the ink, hardener or thinner that it was, when the mix's ink does not go with that"`
	Override string     `json:"override,omitempty" doc:"reason for using the mix with such a material"`
	MixedAt  *time.Time `json:"mixed_at,omitempty" doc:"start of the pot life, when a pour was re-labelled as hardener"`
	Mix      guide.Mix  `json:"mix" doc:"state of the guided mix afterwards"`
}

// Rested records that the rest of a mix is over.
type Rested struct {
	Batch string    `json:"batch" doc:"id of the batch"`
	Mix   guide.Mix `json:"mix" doc:"state of the guided mix afterwards"`
}

// Recorded records a batch that was mixed without the guide.
type Recorded struct {
	Batch   string              `json:"batch" doc:"id of the batch"`
	Day     string              `json:"day" doc:"local date, YYYYMMDD"`
	Ink     string              `json:"ink" doc:"id of the ink"`
	Zone    string              `json:"zone" doc:"id of the zone"`
	Press   string              `json:"press,omitempty" doc:"id of the press that the mix is meant for"`
	Cup     string              `json:"cup" doc:"id of the kind of cup"`
	Colour  string              `json:"colour_class,omitempty" doc:"colour class; absent when it is not known"`
	MixedAt time.Time           `json:"mixed_at" doc:"when the hardener was added"`
	Mix     guide.Mix           `json:"mix" doc:"the mix as it was reported"`
	Cans    map[mix.Part]string `json:"cans,omitempty" doc:"ids of the cans by part"`
	Basis   Basis               `json:"basis" doc:"what the batch's pot life is computed from"`
}

// Abandoned ends a mix that was not finished.
type Abandoned struct {
	Batch  string  `json:"batch" doc:"id of the batch"`
	Ink    string  `json:"ink" doc:"id of the ink"`
	WasteG float64 `json:"waste_g" doc:"mass that was thrown away, in g"`
	End
}

// Basis holds the parameters of a batch's pot life. They are fixed when the batch begins; a
// later change of the configuration applies to later batches.
type Basis struct {
	Life      cure.Ink    `json:"life" doc:"the ink's parameters"`
	Sensor    cure.Sensor `json:"sensor" doc:"accuracy of the sensor in the batch's zone"`
	Place     cure.Place  `json:"place" doc:"how the cup is placed"`
	WeighingU float64     `json:"weighing_u" doc:"relative standard uncertainty of the ratio of ink to hardener"`
	Solvent   Solvent     `json:"solvent" doc:"what the evaporation of thinner is estimated from"`
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
	s.countBatch(e.Day)
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

func (e Confirmed) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Mix = numbered(e.Mix, b.Mix, r.Seq)
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
		b.openAccount()
		if e.Step == guide.Cup && e.WeightG > 0 && e.Mix.Pan.BaseG > 0 {
			s.CupEmptyG = maps.Clone(s.CupEmptyG)
			s.CupEmptyG[b.Cup] = e.Mix.Pan.BaseG
		}
		if over := e.Mix.Over; e.Step == guide.PourOver && over != nil && over.To.Weighed {
			s.CupEmptyG = maps.Clone(s.CupEmptyG)
			s.CupEmptyG[over.To.Kind] = over.To.EmptyG
		}
	})
}

// numbered returns a mix whose pours know the events that recorded them: those of the mix
// before, and seq for a pour that is new. The mixes of old journals do not have the numbers.
func numbered(next, before guide.Mix, seq uint64) guide.Mix {
	next.Pours = slices.Clone(next.Pours)
	for i := range next.Pours {
		switch {
		case next.Pours[i].Seq != 0:
		case i < len(before.Pours):
			next.Pours[i].Seq = before.Pours[i].Seq
		default:
			next.Pours[i].Seq = seq
		}
	}
	return next
}

func (e Corrected) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) {
		of := slices.IndexFunc(b.Mix.Pours, func(p guide.Pour) bool { return p.Seq == e.Pour && e.Pour != 0 })
		same := of >= 0 && b.Mix.Pours[of].Part == e.Part // only its can or its material is another one
		b.Mix = numbered(e.Mix, b.Mix, r.Seq)
		b.Phase = phaseOf(b)
		b.openAccount()
		switch {
		case e.MixedAt != nil:
			s.begin(b, *e.MixedAt)
		case e.Part != "" && !same && e.Mix.Poured().HardenerG == 0:
			// What was taken for hardener was something else: nothing is reacting. An
			// undone pour of hardener leaves the clock running: some may be in the cup.
			b.MixedAt, b.GoodAt, b.Ensemble, b.WithoutLots = time.Time{}, time.Time{}, nil, cure.Ink{}
		}
	})
}

func (e Rested) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Mix = numbered(e.Mix, b.Mix, r.Seq)
		b.Phase = phaseOf(b)
		b.openAccount()
	})
}

func (e Recorded) apply(s *State, r Record) {
	s.countBatch(e.Day)
	b := &Batch{
		ID: e.Batch, Ink: e.Ink, Zone: e.Zone, For: e.Press, Cup: e.Cup, Colour: e.Colour, Mix: e.Mix, Cans: e.Cans,
		Basis: e.Basis, StartedAt: r.Stamp.At,
	}
	b.Phase = phaseOf(b)
	b.openAccount()
	s.begin(b, e.MixedAt)
	if !r.Stamp.Synced {
		b.AtLeast, b.Countable = true, true
		b.Ensemble.MarkAtLeast()
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
	s.countEnd(lifecycle.Abandoned, e.End)
}

// phaseOf returns the phase of a batch by the step of its mix.
func phaseOf(b *Batch) lifecycle.Phase {
	switch b.Mix.Step {
	case guide.Rest:
		return lifecycle.Resting
	case guide.Load:
		return lifecycle.Open
	}
	return lifecycle.Mixing
}

// countBatch counts a batch that was begun on a day.
func (s *State) countBatch(day string) {
	if day > s.Day {
		s.Day, s.Number = day, 0
	}
	s.Number++
}

// NextID returns the id of the next batch that begins on the given local day (20060102).
func (s State) NextID(day string) string {
	s.countBatch(day)
	return s.Day[4:] + "-" + strconv.Itoa(s.Number)
}
