package trace

import (
	"context"
	"maps"
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/cure"
)

// lived is what a closed batch had lived through at its end.
type lived struct {
	age     *time.Duration // since the first hardener; nil when there never was one
	atLeast bool           // the age, and what follows from it, is a lower bound
	spent   float64
	risk    float64 // that it was past its pot life, by its forecast
	air     mean
}

// mean is the mean of air over time.
type mean struct {
	hours         float64
	celsiusHours  float64
	humidityHours float64 // in % relative humidity
}

// add counts a step of air. Air that nobody measured does not count.
func (m *mean) add(s cure.Step) {
	if s.Kind == cure.Stale || s.Duration <= 0 {
		return
	}
	hours := s.Duration.Hours()
	m.hours += hours
	m.celsiusHours += hours * (s.From.TemperatureC + s.To.TemperatureC) / 2
	m.humidityHours += hours * (s.From.HumidityPct + s.To.HumidityPct) / 2
}

// clockMoved is how far a zone's last steps may have been moved by a clock that was set between
// them and the beginning of a life. The replay begins earlier by as much.
const clockMoved = time.Hour

// breathe replays the life of a closed batch with the air that it stood in, and returns what
// it had lived through at its end. A part lived through what the whole did before it was
// poured off, and a batch that older ink was poured into through what that ink did.
func (l *life) breathe(ctx context.Context, j Journal) (lived, error) {
	out := lived{atLeast: l.is.AtLeast}
	if l.is.MixedAt.IsZero() {
		return out, nil
	}
	age := l.is.ClosedAt.Sub(l.is.MixedAt)
	out.age = &age
	b := breath{life: l, state: record.NewState(""), bearers: l.bearers()}
	if err := j.Replay(ctx, slices.Collect(maps.Keys(l.all)), slices.Collect(maps.Keys(l.zones)), l.begun().Add(-clockMoved), b.take); err != nil {
		return lived{}, err
	}
	if end, ok := b.state.Find(l.is.ID); ok {
		out.spent = end.Spent
	}
	out.risk, out.air = b.risk, b.air
	return out, nil
}

// begun returns when the life began at the earliest, by the clock of that time. One that was
// recorded by hand began before its event.
func (l *life) begun() time.Time {
	first := l.all[slices.Min(slices.Collect(maps.Keys(l.all)))].Stamp.At
	for _, r := range l.all {
		if e, ok := r.Body.(record.Recorded); ok && e.MixedAt.Before(first) {
			first = e.MixedAt
		}
	}
	return first
}

// bearer is the batch whose ink a life went on in, up to an event.
type bearer struct {
	until uint64
	id    string
}

// bearers returns in which batches the life went on that a batch ends with, from its end
// back to its beginning.
func (l *life) bearers() []bearer {
	undone := l.undone()
	list := []bearer{{until: l.own[len(l.own)-1].Seq, id: l.is.ID}}
	for _, seq := range slices.Backward(slices.Sorted(maps.Keys(l.all))) {
		if undone[seq] {
			continue
		}
		id := list[len(list)-1].id
		switch e := l.all[seq].Body.(type) {
		case record.Split:
			if e.Batch == id && !(id == l.is.ID && l.isAnother(l.all[seq], id)) {
				list = append(list, bearer{seq - 1, e.From})
			}
		case record.ToppedUp:
			if e.Batch == id && e.Older {
				list = append(list, bearer{seq - 1, e.From})
			}
		}
	}
	return list
}

// breath replays a life with its air.
type breath struct {
	life    *life
	bearers []bearer
	state   record.State
	seq     uint64 // of the newest event
	risk    float64
	air     mean
}

// bearer returns the batch that the life is in after the newest event; nil before its beginning.
func (b *breath) bearer() *record.Batch {
	id := b.life.is.ID
	for _, o := range b.bearers {
		if o.until < b.seq {
			break
		}
		id = o.id
	}
	return b.state.Batches[id]
}

func (b *breath) take(r record.Record) error {
	if e, ok := r.Body.(record.AirStep); ok {
		if on := b.bearer(); on != nil && on.Ensemble != nil && on.Zone == e.Zone {
			b.air.add(e.Step)
		}
		if b.state.Zones[e.Zone] == nil {
			b.state = record.Apply(b.state, firstOf(e, r.Stamp))
		}
		b.state = record.Apply(b.state, r)
		b.noteRisk()
		return nil
	}
	if b.life.isAnother(r, b.life.is.ID) {
		return nil
	}
	before := b.bearer()
	b.state = record.Apply(b.state, paired(b.state, r))
	b.seq = r.Seq
	b.noteRisk()
	switch r.Body.(type) {
	case record.HardenerBegun, record.Confirmed, record.Corrected, record.Recorded:
		b.begin(before)
	}
	return nil
}

// noteRisk keeps the batch's risk while it has one: an ended batch has none any more.
func (b *breath) noteRisk() {
	if on := b.bearer(); on != nil && on.Ensemble != nil {
		b.risk = on.Ensemble.Risk()
	}
}

// firstOf returns the step without length that a zone's path is begun with, so that the
// given step, which is from the middle of the zone's record, is where it was.
func firstOf(e record.AirStep, stamp record.Stamp) record.Record {
	stamp.At = e.Start
	from := e.Step.From
	return record.Record{Stamp: stamp, Body: record.AirStep{
		Zone: e.Zone, Start: e.Start, Step: cure.Step{Kind: cure.Measured, From: from, To: from}, After: from,
	}}
}

// begin starts the mean again where the newest event began the life, with the air since.
func (b *breath) begin(before *record.Batch) {
	on := b.bearer()
	if on == nil || before != nil && before.MixedAt.Equal(on.MixedAt) {
		return
	}
	b.air = mean{}
	if on.Ensemble == nil {
		return
	}
	_, steps := b.state.Path(on.Zone, on.MixedAt)
	for _, s := range steps {
		b.air.add(s)
	}
}
