package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/learn"
	"potlifed/model/mix"
)

func TestWhatWasLearnedIsForLaterBatches(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	parts := []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}}
	before := s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: parts})

	sheet := s.b.shop.Inks[0].Life
	life := sheet
	life.LRefH *= 0.8
	s.tell(request.AcceptLearned{Ink: "dial-satin", Sheet: sheet, Life: life, Verdict: "a fifth less"})
	after := s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: parts})
	if r := after.RemainingS.Expected / before.RemainingS.Expected; math.Abs(r-0.8) > 0.02 {
		t.Errorf("a new batch lives %v of what an old one does, want 0.8", r)
	}
	if again := s.batch(before.ID); math.Abs(again.RemainingS.Expected-before.RemainingS.Expected) > 60 {
		t.Errorf("the batch mixed before changed from %v to %v s", before.RemainingS.Expected, again.RemainingS.Expected)
	}
	s.crash()

	s = openShop(t, dir, c)
	defer s.crash()
	if l := s.b.Snapshot().Inks[0].Learned; l == nil || l.Verdict != "a fifth less" {
		t.Errorf("after a restart: learned %+v", l)
	}
	s.tell(request.RevokeLearned{Ink: "dial-satin"})
	s.pass(20*time.Second, both(mild))
	revoked := s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: parts})
	if r := revoked.RemainingS.Expected / before.RemainingS.Expected; math.Abs(r-1) > 0.02 {
		t.Errorf("once it is revoked a new batch lives %v of what one did before, want 1", r)
	}

	sheet.LRefH++
	w := &waiter{request: request.Request{Change: request.AcceptLearned{Ink: "dial-satin", Sheet: sheet, Life: life}}, answer: make(chan answer, 1)}
	s.enter(w)
	if a := <-w.answer; a.err == nil {
		t.Error("what was learned against another data sheet was accepted")
	}
}

// What was learned of a lot moves the open batches of that lot, and those mixed from it afterwards; it is
// undone when it is revoked, and it survives a restart.
func TestWhatWasLearnedOfALotMovesOpenBatches(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	can := s.makes(request.MakeCan{Ink: "dial-satin", Lot: "A 17"})
	of := func(can string) view.Batch {
		return s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: []mix.Component{{Part: "ink", G: 60, Can: can}, {Part: "hardener", G: 15}}})
	}
	early, other := of(can), of("")
	sheet := s.b.shop.Inks[0].Life
	s.tell(request.AcceptLearned{Ink: "dial-satin", Sheet: sheet, Life: sheet, Verdict: "a lot that ends early", Lots: learn.Lots{
		InkLnSpread: 0.15, Within: 0.1, Known: []learn.Lot{{By: learn.ByInkLot, Lot: "A 17", Batches: 5, Ends: 5, LifeRatio: 0.7, LnSE: 0.05, WithLife: -0.001}},
	}})
	ratio := func(id string, before view.Batch) float64 {
		return s.batch(id).RemainingS.Expected / before.RemainingS.Expected
	}
	if r := ratio(early.ID, early); math.Abs(r-0.7) > 0.02 {
		t.Errorf("the open batch of the lot lives %v of what it did, want 0.7", r)
	}
	if r := ratio(other.ID, other); math.Abs(r-1) > 0.02 {
		t.Errorf("an open batch of no known lot lives %v of what it did, want 1", r)
	}
	if r := of(can).RemainingS.Expected / early.RemainingS.Expected; math.Abs(r-0.7) > 0.02 {
		t.Errorf("a new batch of the lot lives %v of what an old one did, want 0.7", r)
	}
	s.crash()

	s = openShop(t, dir, c)
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	if r := ratio(early.ID, early); math.Abs(r-0.7) > 0.02 {
		t.Errorf("after a restart: %v, want 0.7", r)
	}
	s.tell(request.RevokeLearned{Ink: "dial-satin"})
	if r := ratio(early.ID, early); math.Abs(r-1) > 0.02 {
		t.Errorf("once it is revoked: %v, want 1", r)
	}
}

// tell makes a change whose answer is no batch.
func (s *shop) tell(c request.Change) {
	s.t.Helper()
	w := &waiter{request: request.Request{Change: c, By: "tester"}, answer: make(chan answer, 1)}
	s.enter(w)
	if a := <-w.answer; a.err != nil {
		s.t.Fatalf("%s: %v", c.Verb(), a.err)
	}
}
