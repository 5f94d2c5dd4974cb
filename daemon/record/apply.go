package record

import (
	"maps"
	"slices"
	"strconv"
	"time"

	"potlifed/model/can"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

func (e Started) apply(s *State, r Record) {
	s.Instance, s.Version, s.Started = e.Instance, e.Version, r.Stamp.At
	s.shift(e.Shift, func(*Batch) bool { return true })
	s.changeAll(func(b *Batch) bool {
		if e.GapKnown || b.Cloud == nil {
			return false
		}
		b.Countable, b.Unseen = e.Countable && !b.AtLeast, 0
		if b.Countable {
			b.Unseen = e.Shift
		}
		if !b.AtLeast {
			b.AtLeast = true
			b.Cloud = b.Cloud.Clone()
			b.Cloud.MarkAtLeast()
		}
		return true
	})
	if !e.GapKnown {
		s.changeCans(func(c *can.Can) { c.Doubt = true })
	}
	zones := make(map[string]*Zone, len(s.Zones))
	for id, old := range s.Zones {
		z := *old
		z.Bridged = e.Gap > 0
		zones[id] = &z
	}
	s.Zones = zones
}

func (Stopped) apply(*State, Record) {}

// apply moves every remembered instant with the clock, so that no age changes. Only
// a batch whose age is "at least", and whose missing part is what the clock was
// behind by, keeps its instants: it gets older by the step.
func (e ClockChanged) apply(s *State, _ Record) {
	counts := func(b *Batch) bool { return e.Synced && b.Countable && e.Step+b.Unseen >= 0 }
	s.changeAll(func(b *Batch) bool {
		if !counts(b) {
			return false
		}
		z := s.zone(b.Zone)
		b.Cloud = b.Cloud.Clone()
		b.Cloud.CountGap(b.Basis.Place, cure.Step{
			Duration: e.Step + b.Unseen, From: z.Air, To: z.Air, Kind: cure.Bridged, Uncertain: true,
		})
		return true
	})
	s.shift(e.Step, func(b *Batch) bool { return !counts(b) })
	s.changeAll(func(b *Batch) bool {
		if !e.Synced || !b.Countable {
			return false
		}
		if !counts(b) { // the clock says less than was lived through: there is nothing to count
			b.Countable = false
			return true
		}
		for _, t := range []*time.Time{&b.MixedAt, &b.GoodAt} {
			*t = t.Add(-b.Unseen)
		}
		b.AtLeast, b.Countable, b.Unseen = false, false, 0
		return true
	})
}

// shift moves the state's instants by d: those of zones and alarms, and of the
// batches that move with them.
func (s *State) shift(d time.Duration, moves func(*Batch) bool) {
	if d == 0 {
		return
	}
	later := func(t *time.Time) {
		if !t.IsZero() {
			*t = t.Add(d)
		}
	}
	s.changeAll(func(b *Batch) bool {
		if !moves(b) {
			return false
		}
		later(&b.StartedAt)
		later(&b.MixedAt)
		later(&b.GoodAt)
		later(&b.AsideAt)
		later(&b.Mix.RestUntil)
		b.Mix.Pours = slices.Clone(b.Mix.Pours)
		for i := range b.Mix.Pours {
			later(&b.Mix.Pours[i].RoseAt)
		}
		return true
	})
	zones := make(map[string]*Zone, len(s.Zones))
	for id, old := range s.Zones {
		z := *old
		later(&z.Until)
		later(&z.ReadAt)
		z.Hours = z.Hours.Shift(d)
		z.Recent = slices.Clone(z.Recent)
		for i := range z.Recent {
			later(&z.Recent[i].Start)
		}
		zones[id] = &z
	}
	s.Zones = zones
	alarms := make(map[AlarmKey]*Alarm, len(s.Alarms))
	for k, old := range s.Alarms {
		a := *old
		later(&a.Since)
		later(&a.Changed)
		later(&a.Until)
		alarms[k] = &a
	}
	s.Alarms = alarms
	s.changeCans(func(c *can.Can) {
		for _, t := range []*time.Time{&c.MadeAt, &c.StirredAt, &c.UsedAt, &c.EmptiedAt} {
			later(t)
		}
	})
	s.Prints = maps.Clone(s.Prints)
	for press, p := range s.Prints {
		later(&p.Bare)
		s.Prints[press] = p
	}
}

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

func (e Loaded) apply(s *State, _ Record) {
	for _, p := range slices.Sorted(maps.Keys(s.Presses)) {
		if s.Presses[p].Batch == e.Batch {
			s.setPress(p, Press{WentOff: s.Presses[p].WentOff})
		}
	}
	if before := s.Presses[e.Press].Batch; before != "" {
		s.change(before, func(b *Batch) { b.Press = "" })
	}
	s.change(e.Batch, func(b *Batch) {
		b.Press, b.Zone, b.Basis.Place = e.Press, e.Zone, e.Place
	})
	s.setPress(e.Press, Press{Batch: e.Batch})
}

func (e Unloaded) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Press, b.Zone, b.Basis.Place = "", e.Zone, e.Place
	})
	s.setPress(e.Press, Press{})
}

func (e Good) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) {
		b.GoodAt = r.Stamp.At
		b.PartWentOff, b.YoungerThanDead = false, false
		if b.Cloud != nil {
			b.Cloud = b.Cloud.Clone()
			b.Cloud.Good()
		}
	})
}

func (e Abandoned) apply(s *State, r Record) {
	old, ok := s.Batches[e.Batch]
	if !ok {
		return
	}
	b := *old
	b.ClosedAt, b.Outcome, b.StillGood = r.Stamp.At, "abandoned", "unknown"
	s.end(b)
}

func (e Closed) apply(s *State, r Record) {
	old, ok := s.Batches[e.Batch]
	if !ok {
		return
	}
	b := *old
	if b.Press != "" {
		left := Press{}
		if e.Outcome == "went-off" {
			left.WentOff = e.Batch
		}
		s.setPress(b.Press, left)
	}
	if e.Outcome == "went-off" {
		s.wentOff(b)
	}
	b.ClosedAt, b.Outcome, b.StillGood, b.LeftG = r.Stamp.At, e.Outcome, e.StillGood, e.LeftG
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
