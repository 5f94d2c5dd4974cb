package record

import (
	"slices"
	"time"

	"potlifed/model/airpath"
	"potlifed/model/can"
	"potlifed/model/cure"
)

// The kinds of the daemon's own run.
const (
	KindStarted      Kind = "started"
	KindStopped      Kind = "stopped"
	KindClockChanged Kind = "clock-changed"
)

// Started records that the daemon started.
type Started struct {
	Instance  string        `json:"instance" doc:"id of this run of the service"`
	Version   string        `json:"version" doc:"version of the program"`
	Gap       time.Duration `json:"gap_ns" doc:"time without records before this run: exact when gap_known, else the least that it can have been"`
	GapKnown  bool          `json:"gap_known" doc:"the gap is exact"`
	Shift     time.Duration `json:"shift_ns" doc:"jump of bench time beyond the gap; ages do not include it"`
	Countable bool          `json:"countable" doc:"the clock was set when the last run ended, so an unknown gap becomes known once the clock is set"`
	// Devices is nil in records of versions that did not know the addresses of instruments.
	Devices map[string]string `json:"devices,omitempty" doc:"address of each instrument in the configuration, by sensor/ID or scale/ID"`
}

// Stopped records that the daemon ended in good order.
type Stopped struct{}

// ClockChanged records that the wall clock was set, or was stepped. Bench time moves by
// Step from this record on.
type ClockChanged struct {
	Step   time.Duration `json:"step_ns" doc:"how far bench time moves from here on"`
	Synced bool          `json:"synced" doc:"the wall clock is known to be set"`
}

func (Started) Kind() Kind      { return KindStarted }
func (Stopped) Kind() Kind      { return KindStopped }
func (ClockChanged) Kind() Kind { return KindClockChanged }

func (Started) About() string      { return "" }
func (Stopped) About() string      { return "" }
func (ClockChanged) About() string { return "" }

func (e Started) apply(s *State, r Record) {
	s.Instance, s.Version, s.Started = e.Instance, e.Version, r.Stamp.At
	s.setDevices(e.Devices, r.Stamp.At)
	s.shift(e.Shift, func(*Batch) bool { return true })
	if !e.GapKnown && e.Countable {
		s.changeRunningJars(func(t *JarTest) { t.Countable, t.Unseen = true, e.Shift })
	}
	s.changeAll(func(b *Batch) bool {
		if e.GapKnown || b.Ensemble == nil {
			return false
		}
		b.Countable, b.Unseen = e.Countable && !b.AtLeast, 0
		if b.Countable {
			b.Unseen = e.Shift
		}
		if !b.AtLeast {
			b.AtLeast = true
			b.Ensemble = b.Ensemble.Clone()
			b.Ensemble.MarkAtLeast()
		}
		return true
	})
	if !e.GapKnown {
		s.changeCans(func(c *can.Can) { c.Doubt = true })
	}
	zones := make(map[string]*airpath.Closed, len(s.Zones))
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
		b.Ensemble = b.Ensemble.Clone()
		b.Ensemble.CountGap(b.Basis.Place, cure.Step{
			Duration: e.Step + b.Unseen, From: z.Air, To: z.Air, Kind: cure.Bridged, Uncertain: true,
		})
		return true
	})
	if e.Synced {
		s.changeRunningJars(func(t *JarTest) { t.countGap(e.Step) })
	}
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

// shift moves the state's instants by d: those of zones, alarms, cans, prints and running tests in jars, and those
// of the batches for which moves returns true.
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
	zones := make(map[string]*airpath.Closed, len(s.Zones))
	for id, old := range s.Zones {
		z := old.Shift(d)
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
	for press := range s.Prints {
		s.count(press, "", func(c *Count) { later(&c.UnloadedAt) })
	}
	s.changeRunningJars(func(t *JarTest) { t.move(d) })
}
