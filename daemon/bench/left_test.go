package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/mix"
)

// What is left is weighed on the same scale: gross less the cup, and nothing else.
func TestCloseByWeighing(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	if v := s.batch(id); v.CupEmptyG == nil || *v.CupEmptyG != 12 {
		t.Fatalf("the cup weighs %v empty, want 12", v.CupEmptyG)
	}
	ask := func(c request.CloseBatch) *request.Refusal {
		t.Helper()
		c.Batch, c.Outcome, c.Weigh = id, "used-up", true
		_, r := s.ask(c)
		return r
	}
	g := 3.0
	refused(t, ask(request.CloseBatch{LeftG: &g}), request.Invalid, "", "left_g")
	refused(t, ask(request.CloseBatch{Scale: "scale-9"}), request.Invalid, "", "scale-9")
	s.weighs(0, 2*time.Second)
	refused(t, ask(request.CloseBatch{}), request.NotNow, "cup-away", "0.0 g", "12.0 g")
	other := s.must(request.StartMix{Ink: "dial-satin", Press: "press-2"}).ID
	refused(t, ask(request.CloseBatch{}), request.NotNow, "", other)
	s.must(request.AbandonMix{Batch: other})
	s.pours(0, 30, time.Second)
	s.weighs(35, 100*time.Millisecond)
	refused(t, ask(request.CloseBatch{}), request.NotNow, "unsettled", "rest")
	s.weighs(34.2, 2*time.Second)
	if r := ask(request.CloseBatch{}); r != nil {
		t.Fatal(r)
	}
	closed := s.b.Snapshot().Closed[0]
	if closed.ID != id || closed.LeftG == nil || math.Abs(*closed.LeftG-22.2) > 1e-9 {
		t.Errorf("closed %s with %v g left, want 22.2", closed.ID, closed.LeftG)
	}
}

func TestCloseAsksForAnUnknownCup(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}}}).ID
	s.weighs(20, 2*time.Second)
	_, r := s.ask(request.CloseBatch{Batch: id, Outcome: "used-up", Weigh: true})
	refused(t, r, request.NotNow, "cup-not-known", "empty_g")
	empty := math.NaN()
	_, r = s.ask(request.CloseBatch{Batch: id, Outcome: "used-up", Weigh: true, EmptyG: &empty})
	refused(t, r, request.Invalid, "")
	empty = 14
	v := s.must(request.CloseBatch{Batch: id, Outcome: "used-up", Weigh: true, EmptyG: &empty})
	if v.LeftG == nil || *v.LeftG != 6 {
		t.Errorf("%v g left, want 6", v.LeftG)
	}
}
