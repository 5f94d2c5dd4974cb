package record

import (
	"fmt"
	"maps"
	"strings"
	"time"

	"potlifed/model/air"
	"potlifed/model/airpath"
	"potlifed/model/cure"
)

// KindAirStep is the kind of [AirStep].
const KindAirStep Kind = "air-step"

// AirStep is the air of a zone over a closed interval. The batches of the zone were
// advanced over it. It begins where the zone's last step ended, and ends no later than the
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
	z := s.zone(e.Zone).With(airpath.Step{Start: r.Stamp.At, Step: e.Step, After: e.After, ReadAt: e.ReadAt})
	s.Zones = maps.Clone(s.Zones)
	s.Zones[e.Zone] = &z
	s.changeAll(func(b *Batch) bool {
		if b.Zone != e.Zone || b.Ensemble == nil {
			return false
		}
		b.Ensemble = b.Ensemble.Clone()
		b.Ensemble.Advance(b.Basis.Place, e.Step)
		b.evaporate(e.Step)
		return true
	})
}

// zone returns the closed path of a zone. A zone that was never measured has
// [airpath.Unmeasured] air.
func (s *State) zone(id string) airpath.Closed {
	if z, ok := s.Zones[id]; ok {
		return *z
	}
	return airpath.Closed{Air: airpath.Unmeasured}
}

// Path returns the air of a zone at a moment in the past, and the steps from then to the
// zone's last closed step.
func (s State) Path(zone string, from time.Time) (start air.State, steps []cure.Step) {
	z := s.zone(zone)
	steps = z.Since(from)
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
	b.Ensemble = cure.New(b.Basis.Life, b.Basis.Sensor, b.Basis.WeighingU, start)
	for _, step := range steps {
		b.Ensemble.Advance(b.Basis.Place, step)
	}
	s.knowLot(b)
	s.adhere(b)
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
