package bench

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/mix"
)

// checkRows: a row that is kept is the row that would be made now.
func checkRows(rt *rapid.T, s *shop) {
	now := s.b.clock.now()
	s.b.dirty = true
	s.b.publish(now)
	snap, state := s.b.Snapshot(), s.b.write.stepped()
	same := func(kept view.Batch) {
		batch, known := state.Find(kept.ID)
		if !known {
			rt.Fatalf("batch %s has a row and is not in the state", kept.ID)
		}
		made := s.b.batchView(state, batch, now)
		if k, m := kept.CupWeighsG, made.CupWeighsG; k != nil && m != nil && math.Abs(*k-*m) < 0.2 { // thinner evaporates between two ticks
			kept.CupWeighsG = m
		}
		if made.AgeS == nil && now.Sub(kept.Time).Abs() <= time.Second { // nothing in it is of a later moment
			kept.Time = made.Time
		}
		if diff := cmp.Diff(made, kept); diff != "" {
			rt.Fatalf("the row of batch %s is out of date (- as made now, + kept):\n%s", kept.ID, diff)
		}
	}
	if len(snap.Batches) != len(state.Batches) || len(snap.Closed) != len(state.Closed) || len(s.b.rows.made) > len(state.Batches)+len(state.Closed) {
		rt.Fatalf("%d rows of %d open batches, %d of %d closed ones, %d kept", len(snap.Batches), len(state.Batches), len(snap.Closed), len(state.Closed), len(s.b.rows.made))
	}
	for _, row := range append(snap.Batches, snap.Closed...) {
		same(row)
	}
	for id, batch := range state.Batches {
		if life, has := snap.Lives[id]; has != (batch.Ensemble != nil) || has && life.Ensemble != batch.Ensemble {
			rt.Fatalf("the life of batch %s is another than in the state", id)
		}
	}
}

// TestRowsAreKept: a report of prints makes one row again, and not those of all batches.
func TestRowsAreKept(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	for range 5 {
		s.must(request.RecordMix{
			Ink: "dial-satin", MixedAt: s.b.clock.now(),
			Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}, {Part: "thinner", G: 7.5}},
		})
	}
	s.must(request.LoadBatch{Batch: s.b.rows.ids[0], Press: "press-1"})
	s.pass(time.Second, both(mild))
	was := map[string]*madeRow{}
	for id, made := range s.b.rows.made {
		was[id] = made
	}
	s.asks(request.CountPrints{Press: "press-1", Add: new(uint64(3))})
	again := 0
	for id, made := range s.b.rows.made {
		if made != was[id] {
			again++
		}
	}
	if again > 1 || len(was) != 5 {
		t.Errorf("%d of %d rows were made again", again, len(was))
	}
	if got := s.b.Snapshot().Batches[0].Prints; got != 3 {
		t.Errorf("%d prints in the row, want 3", got)
	}
}
