package record

import (
	"maps"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/can"
	"potlifed/model/lifecycle"
)

// KindUndone is something that a person took back.
const KindUndone Kind = "undone"

// Undone takes back what was done to a batch by an event a moment ago: the batches and
// presses that it touched are as they were before, but for the air that they have
// stood in since.
type Undone struct {
	Batch   string   `json:"batch" doc:"id of the batch"`
	Undoes  uint64   `json:"undoes" doc:"number of the event that was undone"`
	Of      Kind     `json:"of" doc:"its kind"`
	Batches []string `json:"batches" doc:"ids of the batches that are as before again"`
	Presses []string `json:"presses,omitempty" doc:"ids of the presses that are as before again"`
	Cans    []string `json:"cans,omitempty" doc:"ids of the cans that count as not poured from"`
}

func (Undone) Kind() Kind { return KindUndone }

func (e Undone) About() string { return e.Batch }

// Doing is something that may still be taken back, with what it touched as that was
// before.
type Doing struct {
	Seq     uint64            `json:"seq"` // of its last event
	Kind    Kind              `json:"kind"`
	By      actor.Name        `json:"by"`
	At      time.Time         `json:"at"`
	Batches map[string]*Batch `json:"batches"` // nil for one that it made
	Presses map[string]Press  `json:"presses,omitempty"`
	// Cans that it poured from and that nobody has touched since.
	Cans map[string]can.Can `json:"cans,omitempty"`
}

// keptDoing is how long the state knows what was before: longer than anybody may take
// something back.
const keptDoing = 20 * time.Second

// touched is what an event changes that can be taken back.
type touched struct{ batches, presses []string }

// touches says what an event is about to touch; ok is false when it cannot be taken
// back.
func (s State) touches(body Body) (t touched, ok bool) {
	press := func(id string) {
		if id == "" {
			return
		}
		t.presses = append(t.presses, id)
		for _, on := range []string{s.Presses[id].Batch, s.Presses[id].WentOff} {
			if on != "" {
				t.batches = append(t.batches, on)
			}
		}
	}
	loaded := func(id string) {
		t.batches = append(t.batches, id)
		if b := s.Batches[id]; b != nil {
			press(b.Press)
		}
	}
	switch e := body.(type) {
	case Loaded:
		loaded(e.Batch)
		press(e.Press)
	case Moved:
		loaded(e.Batch)
	case Unloaded:
		press(e.Press)
	case Split:
		t.batches = append(t.batches, e.From, e.Batch)
		press(e.Press)
	case ToppedUp:
		t.batches = append(t.batches, e.Batch)
		loaded(e.From)
	case Closed:
		loaded(e.Batch)
		for id := range s.Batches { // their parts may be marked
			if Family(id) == Family(e.Batch) {
				t.batches = append(t.batches, id)
			}
		}
	case Good:
		t.batches = []string{e.Batch}
	case Thinned:
		t.batches = []string{e.Batch}
	case Tested:
		t.batches = []string{e.Batch}
	case Abandoned:
		t.batches = []string{e.Batch}
	default:
		return t, false
	}
	return t, true
}

// keepDoing keeps what was before an event that may be taken back, and forgets what can
// no longer be: what is too old, and what something later has touched.
func (s *State) keepDoing(before State, r Record) {
	switch r.Body.(type) {
	case Started, ClockChanged: // instants have moved
		s.Doings = nil
		return
	}
	t, undoable := before.touches(r.Body)
	if about := r.Body.About(); !undoable && about != "" {
		t.batches = []string{about}
	}
	if len(s.Doings) == 0 && !undoable {
		return
	}
	d := Doing{Seq: r.Seq, Kind: r.Body.Kind(), By: r.By, At: r.Stamp.At, Batches: map[string]*Batch{}, Presses: map[string]Press{}}
	for _, id := range t.batches {
		d.Batches[id] = before.Batches[id]
	}
	for _, id := range t.presses {
		d.Presses[id] = before.Presses[id]
	}
	var kept []Doing
	for _, old := range s.Doings {
		old.Cans = without(old.Cans, canOf(r.Body))
		switch {
		case r.Stamp.At.Sub(old.At) > keptDoing:
		case old.partOf(r):
			// One doing in two events: what one of them touched was before as the first found it.
			d.Batches, d.Presses = with(d.Batches, old.Batches), with(d.Presses, old.Presses)
			if c := before.Cans[canOf(r.Body)]; c != nil {
				d.Cans = map[string]can.Can{c.ID: *c}
			}
			if !undoable {
				d.Kind, undoable = old.Kind, true
			}
		case !old.meets(d):
			kept = append(kept, old)
		}
	}
	if undoable {
		kept = append(kept, d)
	}
	s.Doings = kept
}

// canOf is the can that an event touches, if it touches one.
func canOf(body Body) string {
	switch e := body.(type) {
	case PouredFrom:
		return e.Can
	case CanOpened:
		return e.Can
	case CanStirred:
		return e.Can
	case CanEmptied:
		return e.Can
	}
	return ""
}

func without[V any](m map[string]V, key string) map[string]V {
	if _, has := m[key]; !has {
		return m
	}
	m = maps.Clone(m)
	delete(m, key)
	return m
}

func with[V any](a, older map[string]V) map[string]V {
	a = maps.Clone(a)
	maps.Copy(a, older)
	return a
}

// partOf reports whether an event goes with the doing: a press is cleared before
// another batch comes onto it, and what thinner was poured from is said after it.
func (d Doing) partOf(next Record) bool {
	if next.Seq != d.Seq+1 || !next.Stamp.At.Equal(d.At) || next.By != d.By {
		return false
	}
	switch e := next.Body.(type) {
	case Loaded:
		_, cleared := d.Presses[e.Press]
		return d.Kind == KindUnloaded && cleared
	case Split:
		_, cleared := d.Presses[e.Press]
		return d.Kind == KindUnloaded && cleared
	case PouredFrom:
		return d.Kind == KindThinned
	}
	return false
}

// meets reports whether two doings touch the same batch or press.
func (d Doing) meets(other Doing) bool {
	for id := range d.Batches {
		if _, also := other.Batches[id]; also {
			return true
		}
	}
	for id := range d.Presses {
		if _, also := other.Presses[id]; also {
			return true
		}
	}
	return false
}

// Doing finds what was done by an event if it can still be taken back.
func (s State) Doing(seq uint64) (Doing, bool) {
	i := slices.IndexFunc(s.Doings, func(d Doing) bool { return d.Seq == seq })
	if i < 0 {
		return Doing{}, false
	}
	return s.Doings[i], true
}

func (e Undone) apply(s *State, r Record) {
	d, ok := s.Doing(e.Undoes)
	if !ok {
		return
	}
	s.Batches = maps.Clone(s.Batches)
	for id, before := range d.Batches {
		if before == nil {
			s.neverWas(id, r.Stamp.At)
			continue
		}
		s.Closed = slices.DeleteFunc(slices.Clone(s.Closed), func(b *Batch) bool { return b.ID == id })
		b := *before
		s.carry(&b)
		if b.Phase == lifecycle.Mixing && s.weighedBy(b.Scale, id) {
			b.AsideAt = r.Stamp.At
		}
		s.Batches[id] = &b
	}
	for id, before := range d.Presses {
		s.setPress(id, before)
	}
	for _, id := range e.Cans {
		if before, kept := d.Cans[id]; kept {
			s.changeCan(id, func(c *can.Can) { *c = before })
		}
	}
}

// carry lets a batch that comes back stand in the air that its zone had meanwhile.
func (s *State) carry(b *Batch) {
	if b.Cloud == nil {
		return
	}
	b.Cloud = b.Cloud.Clone()
	z := s.zone(b.Zone)
	for _, step := range z.path(b.MixedAt.Add(b.Cloud.Age())) {
		b.Cloud.Advance(b.Basis.Place, step)
		b.stood(step)
	}
}

// neverWas takes away a part that was split off by mistake. Its id is not given again.
func (s *State) neverWas(id string, at time.Time) {
	b := s.Batches[id]
	if b == nil {
		return
	}
	delete(s.Batches, id)
	gone := *b
	gone.Phase, gone.Press, gone.ClosedAt, gone.Outcome, gone.Cloud = lifecycle.Closed, "", at, lifecycle.Undone, nil
	s.Closed = append(slices.Clone(s.Closed), &gone)
	s.Alarms = maps.Clone(s.Alarms)
	maps.DeleteFunc(s.Alarms, func(k AlarmKey, _ *Alarm) bool { return k.Subject == id })
}

// weighedBy reports whether another mix holds a scale.
func (s *State) weighedBy(scale, but string) bool {
	for id, b := range s.Batches {
		if id != but && b.Scale == scale && b.Phase == lifecycle.Mixing && !b.Aside() {
			return true
		}
	}
	return false
}
