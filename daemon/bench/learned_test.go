package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/request"
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

// tell makes a change whose answer is no batch.
func (s *shop) tell(c request.Change) {
	s.t.Helper()
	w := &waiter{request: request.Request{Change: c, By: "tester"}, answer: make(chan answer, 1)}
	s.enter(w)
	if a := <-w.answer; a.err != nil {
		s.t.Fatalf("%s: %v", c.Verb(), a.err)
	}
}
