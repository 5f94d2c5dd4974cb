package record

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// Air that nobody has measured yet: a batch recorded before a zone's first reading
// stands in an ordinary room that may be as bad as a hot, humid one. An assumption;
// such a batch is of bad quality until there is a reading.
var (
	UnmeasuredAir = air.State{TemperatureC: 20, HumidityPct: 50}
	unmeasuredBad = air.State{TemperatureC: 30, HumidityPct: 80}
)

// KindAirStep is the kind of [AirStep].
const KindAirStep Kind = "air-step"

// AirStep is a closed piece of a zone's air over which the batches of the zone were
// advanced. It begins where the zone's last step ended, and ends no later than the
// record's own time.
type AirStep struct {
	Zone  string    `json:"zone"`
	Start time.Time `json:"start"` // where the zone's last step ended, as it was known then
	Step  cure.Step `json:"step"`
	// After is the air that the next step starts from; it differs from the step's
	// own end when a sensor came back with another value.
	After air.State `json:"after"`
	// ReadAt is the time of the newest reading, zero when there never was one.
	ReadAt time.Time `json:"read_at,omitzero"`
}

func (AirStep) Kind() Kind    { return KindAirStep }
func (AirStep) About() string { return "" }

func (e AirStep) apply(s *State, r Record) {
	z := s.zone(e.Zone)
	if z.Until.IsZero() { // the zone's first step has no length: it says where the path begins
		z.Until = r.Stamp.At
	}
	start := z.Until
	z.Until = start.Add(e.Step.Duration)
	z.Air, z.ReadAt, z.Bridged = e.After, e.ReadAt, false
	if e.Step.Duration > 0 {
		z.Recent = appendStep(z.Recent, cure.PastStep{Start: start, Step: e.Step}, z.Until.Add(-keptSteps))
		if known := e.Step.Kind == cure.Measured || e.Step.Kind == cure.Held; known && !e.ReadAt.IsZero() {
			z.Hours = z.Hours.With(start, e.Step.Duration, e.Step.From, e.Step.To)
		}
	}
	s.Zones = maps.Clone(s.Zones)
	s.Zones[e.Zone] = &z
	s.changeAll(func(b *Batch) bool {
		if b.Zone != e.Zone || b.Cloud == nil {
			return false
		}
		b.Cloud = b.Cloud.Clone()
		b.Cloud.Advance(b.Basis.Place, e.Step)
		b.evaporate(e.Step)
		return true
	})
}

// zone returns a copy of a zone, that of an unmeasured one if there is none.
func (s *State) zone(id string) Zone {
	if z, ok := s.Zones[id]; ok {
		return *z
	}
	return Zone{Air: UnmeasuredAir}
}

// appendStep appends a step to a zone's recent ones and drops those that ended before
// horizon. A step is merged with the one before when the two together are short and
// one straight line tells the same, so that a day is a few hundred steps.
func appendStep(recent []cure.PastStep, p cure.PastStep, horizon time.Time) []cure.PastStep {
	if n := len(recent); n > 0 {
		last := recent[n-1]
		joined := last.Step.Duration + p.Step.Duration
		if joined <= mergedStep && last.Step.Kind == cure.Measured && p.Step.Kind == cure.Measured &&
			last.Step.Uncertain == p.Step.Uncertain && last.End().Equal(p.Start) {
			at := air.Lerp(last.Step.From, p.Step.To, float64(last.Step.Duration)/float64(joined))
			if near(at, last.Step.To) && near(at, p.Step.From) {
				last.Step.Duration, last.Step.To = joined, p.Step.To
				recent = slices.Clone(recent)
				recent[n-1] = last
				return recent
			}
		}
	}
	first := 0
	for first < len(recent) && recent[first].End().Before(horizon) {
		first++
	}
	return append(slices.Clone(recent[first:]), p)
}

func near(a, b air.State) bool {
	return math.Abs(a.TemperatureC-b.TemperatureC) < air.SameWithinC && math.Abs(a.HumidityPct-b.HumidityPct) < air.SameWithinPct
}

// Worst is the warmest and the most humid air of the zone's last 24 hours, what a
// silent sensor may be hiding.
func (z Zone) Worst() air.State {
	if z.Until.IsZero() {
		return unmeasuredBad
	}
	w := z.Air
	for _, p := range z.Recent {
		for _, a := range []air.State{p.Step.From, p.Step.To} {
			w.TemperatureC = max(w.TemperatureC, a.TemperatureC)
			w.HumidityPct = max(w.HumidityPct, a.HumidityPct)
		}
	}
	return w
}

// path is the zone's air from a moment in the past to its last closed step. What is
// from before the record begins is taken to have been as the earliest that is known.
func (z Zone) path(from time.Time) []cure.Step {
	var steps []cure.Step
	at := from
	until := z.Until
	before := func(a air.State, end time.Time) {
		if end.After(at) {
			steps = append(steps, cure.Step{
				Duration: end.Sub(at), From: a, To: a, Kind: cure.Stale, Worst: z.Worst(), Uncertain: true,
			})
			at = end
		}
	}
	for _, p := range z.Recent {
		if !p.End().After(at) {
			continue
		}
		before(p.Step.From, p.Start)
		step := p.Step
		if cut := at.Sub(p.Start); cut > 0 {
			step.From = air.Lerp(step.From, step.To, float64(cut)/float64(step.Duration))
			step.Duration -= cut
			step.Held += cut
		}
		steps = append(steps, step)
		at = p.End()
	}
	before(z.Air, until)
	return steps
}

// Path is the air of a zone from a moment on, up to its last closed step, and what it
// was at that moment.
func (s State) Path(zone string, from time.Time) (start air.State, steps []cure.Step) {
	z := s.zone(zone)
	steps = z.path(from)
	start = z.Air
	if len(steps) > 0 {
		start = steps[0].From
	}
	return start, steps
}

// begin starts a batch's life at mixedAt and brings it to the end of its zone's last
// closed step.
func (s *State) begin(b *Batch, mixedAt time.Time) {
	start, steps := s.Path(b.Zone, mixedAt)
	b.MixedAt, b.GoodAt = mixedAt, mixedAt
	b.Cloud = cure.New(b.Basis.Life, b.Basis.Sensor, b.Basis.WeighingU, start)
	for _, step := range steps {
		b.Cloud.Advance(b.Basis.Place, step)
	}
}

// MarshalText writes the key as NAME/SUBJECT.
func (k AlarmKey) MarshalText() ([]byte, error) { return []byte(k.Name + "/" + k.Subject), nil }

// UnmarshalText reads what MarshalText wrote.
func (k *AlarmKey) UnmarshalText(b []byte) error { return splitKey(b, &k.Name, &k.Subject) }

// MarshalText writes the key as INK/OUTCOME.
func (k ClosedKey) MarshalText() ([]byte, error) { return []byte(k.Ink + "/" + string(k.Outcome)), nil }

// UnmarshalText reads what MarshalText wrote.
func (k *ClosedKey) UnmarshalText(b []byte) error { return splitKey(b, &k.Ink, (*string)(&k.Outcome)) }

func splitKey(b []byte, first, second *string) error {
	a, z, ok := strings.Cut(string(b), "/")
	if !ok {
		return fmt.Errorf("record: key %q: want two parts with a slash between", b)
	}
	*first, *second = a, z
	return nil
}
