package record

import (
	"maps"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/can"
	"potlifed/model/lifecycle"
)

// KindUndone is the kind of [Undone].
const KindUndone Kind = "undone"

// Undone undoes a change of a few seconds ago. The batches and presses that it affected are
// as they were before, advanced over the air that they have stood in since.
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

// Undoable is a change that can still be undone, with the batches, presses and cans that
// it affected as they were before it.
type Undoable struct {
	Seq     uint64            `json:"seq"` // of its last event
	Kind    Kind              `json:"kind"`
	By      actor.Name        `json:"by"`
	At      time.Time         `json:"at"`
	Batches map[string]*Batch `json:"batches"` // nil for a batch that it made
	Presses map[string]Press  `json:"presses,omitempty"`
	// Cans are those that it poured from, except cans that a later event affected.
	Cans map[string]can.Can `json:"cans,omitempty"`
	// Corrected is the test, with its ink, that a test replaced among those of the ink.
	Corrected *InkTest `json:"corrected,omitempty"`
}

// keptUndoable is how long the state keeps what was before a change. It is longer than a
// change can be undone.
const keptUndoable = 20 * time.Second

// undoableBody is a body of an event that can be undone.
type undoableBody interface {
	// affects returns the batches and presses that applying the body to s would change.
	affects(s State) affected
}

// affected lists the ids of batches and presses.
type affected struct{ batches, presses []string }

func batchesOnly(ids ...string) affected { return affected{batches: ids} }

// withPress adds a press and the batches on it. An empty id adds nothing.
func (a affected) withPress(s State, press string) affected {
	if press == "" {
		return a
	}
	a.presses = append(a.presses, press)
	for _, batch := range []string{s.Presses[press].Batch, s.Presses[press].WentOff} {
		if batch != "" {
			a.batches = append(a.batches, batch)
		}
	}
	return a
}

// withBatch adds a batch and the press that it is loaded on.
func (a affected) withBatch(s State, id string) affected {
	a.batches = append(a.batches, id)
	if b := s.Batches[id]; b != nil {
		return a.withPress(s, b.Press)
	}
	return a
}

func (e Loaded) affects(s State) affected {
	return affected{}.withBatch(s, e.Batch).withPress(s, e.Press)
}

func (e Moved) affects(s State) affected    { return affected{}.withBatch(s, e.Batch) }
func (e Unloaded) affects(s State) affected { return affected{}.withPress(s, e.Press) }
func (e Split) affects(s State) affected    { return batchesOnly(e.From, e.Batch).withPress(s, e.Press) }
func (e ToppedUp) affects(s State) affected { return batchesOnly(e.Batch).withBatch(s, e.From) }
func (e Good) affects(State) affected       { return batchesOnly(e.Batch) }
func (e Thinned) affects(State) affected    { return batchesOnly(e.Batch) }
func (e Abandoned) affects(State) affected  { return batchesOnly(e.Batch) }
func (e Confirmed) affects(State) affected  { return batchesOnly(e.Batch) }

// affects names no batch for a test of a closed one: that is corrected by another test.
func (e Tested) affects(s State) affected {
	if s.Batches[e.Batch] == nil {
		return affected{}
	}
	return batchesOnly(e.Batch)
}

// affects includes the other parts of the batch, which may be marked when it went off.
func (e Closed) affects(s State) affected {
	a := affected{}.withBatch(s, e.Batch)
	for id := range s.Batches {
		if familyOf(id) == familyOf(e.Batch) {
			a.batches = append(a.batches, id)
		}
	}
	return a
}

// rememberUndo keeps what was before an event that can be undone. It drops the changes
// that are too old to be undone, and those that affected what r affects.
func (s *State) rememberUndo(before State, r Record) {
	switch r.Body.(type) {
	case Started, ClockChanged: // instants have moved
		s.Undoables = nil
		return
	case TrendTaken: // it comes by itself, and must not take the undo from a person
		return
	}
	body, undoable := r.Body.(undoableBody)
	if c, is := r.Body.(Confirmed); is && !c.ByBench {
		undoable = false // what a person has confirmed is corrected
	}
	var changes affected
	if undoable {
		changes = body.affects(before)
	} else if about := r.Body.About(); about != "" {
		changes = batchesOnly(about)
	}
	if len(s.Undoables) == 0 && !undoable {
		return
	}
	u := Undoable{Seq: r.Seq, Kind: r.Body.Kind(), By: r.By, At: r.Stamp.At, Batches: map[string]*Batch{}, Presses: map[string]Press{}}
	for _, id := range changes.batches {
		u.Batches[id] = before.Batches[id]
	}
	for _, id := range changes.presses {
		u.Presses[id] = before.Presses[id]
	}
	var kept []Undoable
	for _, old := range s.Undoables {
		old.Cans = without(old.Cans, canAffectedBy(r.Body))
		switch {
		case r.Stamp.At.Sub(old.At) > keptUndoable:
		case old.continuesWith(r):
			// One change in two events: what both affected was before as the first found it.
			u.Batches, u.Presses = with(u.Batches, old.Batches), with(u.Presses, old.Presses)
			if c := before.Cans[canAffectedBy(r.Body)]; c != nil {
				u.Cans = map[string]can.Can{c.ID: *c}
			}
			if !undoable {
				u.Kind, undoable = old.Kind, true
			}
		case !old.overlaps(u):
			kept = append(kept, old)
		}
	}
	if undoable {
		u.Corrected = before.correctedBy(r.Body)
		kept = append(kept, u)
	}
	s.Undoables = kept
}

// canAffectedBy returns the id of the can that an event affects, empty when it affects none.
func canAffectedBy(body Body) string {
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

// continuesWith reports whether the next event belongs to the same change: a press is
// cleared, or its batch closed, before another batch is loaded on it, which may have been looked at and found
// good; the can of an added
// thinner follows; and the bench confirms a pour and its stir together.
func (u Undoable) continuesWith(next Record) bool {
	if next.Seq != u.Seq+1 || !next.Stamp.At.Equal(u.At) || next.By != u.By {
		return false
	}
	switch e := next.Body.(type) {
	case Loaded:
		_, cleared := u.Presses[e.Press]
		_, looked := u.Batches[e.Batch]
		return (u.Kind == KindUnloaded || u.Kind == KindClosed) && cleared || u.Kind == KindGood && looked
	case Good:
		return u.Kind == KindUnloaded || u.Kind == KindClosed
	case Split:
		_, cleared := u.Presses[e.Press]
		_, looked := u.Batches[e.From]
		return u.Kind == KindUnloaded && cleared || u.Kind == KindGood && looked
	case PouredFrom:
		return u.Kind == KindThinned || u.Kind == KindConfirmed
	case Confirmed:
		return u.Kind == KindConfirmed && e.ByBench
	}
	return false
}

// overlaps reports whether two changes affected the same batch or press.
func (u Undoable) overlaps(other Undoable) bool {
	for id := range u.Batches {
		if _, also := other.Batches[id]; also {
			return true
		}
	}
	for id := range u.Presses {
		if _, also := other.Presses[id]; also {
			return true
		}
	}
	return false
}

// Undoable returns the change whose last event has the number seq; ok is false when there
// is none that can still be undone.
func (s State) Undoable(seq uint64) (u Undoable, ok bool) {
	i := slices.IndexFunc(s.Undoables, func(u Undoable) bool { return u.Seq == seq })
	if i < 0 {
		return Undoable{}, false
	}
	return s.Undoables[i], true
}

func (e Undone) apply(s *State, r Record) {
	u, ok := s.Undoable(e.Undoes)
	if !ok {
		return
	}
	if u.Kind == KindTested {
		s.forgetTest(e.Undoes)
		s.recallTest(u.Corrected)
	}
	s.Batches = maps.Clone(s.Batches)
	for id, before := range u.Batches {
		if before == nil {
			s.removePart(id, r.Stamp.At)
			continue
		}
		b := *before
		if now, known := s.Find(id); known { // what it printed meanwhile stays printed
			b.Prints, b.Defects = now.Prints, now.Defects
			if now.Phase == lifecycle.Closed { // and so does what was tested since it was closed
				b.Tests = now.Tests
			}
		}
		if u.Kind == KindClosed {
			s.forgetSeries(b.Ink, id)
			s.forgetTrend(id)
		}
		s.Closed = slices.DeleteFunc(slices.Clone(s.Closed), func(b *Batch) bool { return b.ID == id })
		s.catchUp(&b)
		s.adhere(&b)
		if b.Phase == lifecycle.Mixing && s.otherOnScale(b.Scale, id) {
			b.AsideAt = r.Stamp.At
		}
		s.Batches[id] = &b
	}
	for id, before := range u.Presses {
		s.setPress(id, before)
	}
	for _, id := range e.Cans {
		if before, kept := u.Cans[id]; kept {
			s.changeCan(id, func(c *can.Can) { *c = before })
		}
	}
}

// catchUp advances a restored batch over the air that its zone has had since.
func (s *State) catchUp(b *Batch) {
	if b.Ensemble == nil {
		return
	}
	b.Ensemble = b.Ensemble.Clone()
	z := s.zone(b.Zone)
	for _, step := range z.Since(b.MixedAt.Add(b.Ensemble.Age())) {
		b.Ensemble.Advance(b.Basis.Place, step)
		b.evaporate(step)
	}
}

// removePart removes a part whose split is undone. It stays among the closed batches, so
// that its id is not given again.
func (s *State) removePart(id string, at time.Time) {
	b := s.Batches[id]
	if b == nil {
		return
	}
	delete(s.Batches, id)
	gone := *b
	gone.Phase, gone.Press, gone.ClosedAt, gone.Outcome, gone.Ensemble = lifecycle.Closed, "", at, lifecycle.Undone, nil
	s.Closed = append(slices.Clone(s.Closed), &gone)
	s.Alarms = maps.Clone(s.Alarms)
	maps.DeleteFunc(s.Alarms, func(k AlarmKey, _ *Alarm) bool { return k.Subject == id })
}

// otherOnScale reports whether a mix other than but is being weighed on a scale.
func (s *State) otherOnScale(scale, but string) bool {
	for id, b := range s.Batches {
		if id != but && b.Scale == scale && b.Phase == lifecycle.Mixing && !b.Aside() {
			return true
		}
	}
	return false
}
