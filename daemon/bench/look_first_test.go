package bench

import (
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// waitsTooLong makes a mix and lets it wait until the time to which it was safe has passed.
func (s *shop) waitsTooLong() string {
	s.t.Helper()
	id := s.mixes()
	for range 60 {
		if s.batch(id).LookFirst {
			return id
		}
		s.pass(10*time.Minute, both(mild))
	}
	s.t.Fatalf("mix %s needs no look after ten hours", id)
	return ""
}

// A batch that may have gone off goes onto a press only after a look, by whichever change.
func TestALookIsAskedBeforeAPress(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	s.pass(time.Minute, both(mild))
	id := s.waitsTooLong()
	row := s.batch(id)
	if row.StopAtRisk != 0.25 || row.EndsAt.Low.After(s.b.clock.now()) {
		t.Fatalf("stop_at_risk %v, safe to %v at %v", row.StopAtRisk, row.EndsAt.Low, s.b.clock.now())
	}
	half := 0.5
	seq := s.b.state.Seq
	for _, c := range []request.Change{
		request.LoadBatch{Batch: id, Press: "press-1"},
		request.LoadBatch{Batch: id, Press: "press-1", Replace: true},
		request.MoveBatch{Batch: id, Press: "press-1"},
		request.SplitBatch{Batch: id, Grams: 20, To: request.Where{Press: "press-1"}},
	} {
		if _, refusal := s.ask(c); refusal == nil || refusal.Code != "look-first" || refusal.Kind != request.NotNow {
			t.Errorf("%s: %v", c.Verb(), refusal)
		}
	}
	if s.b.state.Seq != seq {
		t.Fatalf("refused changes left %d events", s.b.state.Seq-seq)
	}
	s.must(request.MoveBatch{Batch: id, Zone: "bench", Exposure: &half}) // nothing prints there
	part := s.must(request.SplitBatch{Batch: id, Grams: 20, To: request.Where{Press: "press-1"}, Looked: true})
	if text(part.Press) != "press-1" || !s.batch(id).GoodAt.After(*row.GoodAt) {
		t.Errorf("the part is on %q, and the whole was good at %v", text(part.Press), s.batch(id).GoodAt)
	}
	s.must(request.Undo{Batch: part.ID, Seq: part.Seq})
	if !s.batch(id).GoodAt.Equal(*row.GoodAt) || !s.batch(id).LookFirst || s.b.state.Presses["press-1"].Batch != "" {
		t.Errorf("undone: good at %v, %q on press-1", s.batch(id).GoodAt, s.b.state.Presses["press-1"].Batch)
	}
	on := s.must(request.LoadBatch{Batch: id, Press: "press-1", Looked: true})
	if !on.GoodAt.After(*row.GoodAt) || on.LookFirst {
		t.Errorf("looked at: good at %v, look first %v", on.GoodAt, on.LookFirst)
	}
	s.must(request.Undo{Batch: id, Seq: on.Seq})
	if is := s.batch(id); is.Press != nil || !is.GoodAt.Equal(*row.GoodAt) {
		t.Errorf("undone: on %q, good at %v", text(is.Press), is.GoodAt)
	}
	s.must(request.LoadBatch{Batch: id, Press: "press-1", Looked: true})
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})                  // it is there
	s.must(request.MoveBatch{Batch: id, Press: "press-1", Exposure: &half}) // and stays there
}

// A change-over with a look is one change, and one undo takes all of it back.
func TestALookAndAChangeOverAreOneChange(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	s.pass(time.Minute, both(mild))
	next := s.waitsTooLong()
	was := s.batch(next).GoodAt
	old := s.mixes()
	s.must(request.LoadBatch{Batch: old, Press: "press-1"})
	for _, outcome := range []string{"used-up", request.Kept} {
		off := &request.ComesOff{Batch: old, Outcome: outcome}
		if _, refusal := s.ask(request.LoadBatch{Batch: next, Press: "press-1", ComesOff: off}); refusal == nil || refusal.Code != "look-first" {
			t.Fatalf("%s: %v", outcome, refusal)
		}
		done := s.must(request.LoadBatch{Batch: next, Press: "press-1", ComesOff: off, Looked: true})
		s.must(request.Undo{Batch: next, Seq: done.Seq})
		if is := s.batch(next); !is.GoodAt.Equal(*was) || is.Press != nil || text(s.batch(old).Press) != "press-1" {
			t.Errorf("%s, undone: good at %v, %s on %q", outcome, is.GoodAt, old, text(s.batch(old).Press))
		}
	}
}

// A mix whose prints failed a test is not brought to a press, and one replaces a cup whose prints did.
func TestNoLightNamesAMixThatFailedATest(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(time.Minute, both(mild))
	failed := s.mixes()
	s.must(request.TestBatch{Batch: failed, Kind: "adhesion", Result: "fail"})
	says := func(next string, cause light.Cause) {
		t.Helper()
		if got := s.b.Snapshot().Presses[0].Next; got != next {
			t.Errorf("next on press-1 is %q, want %q", got, next)
		}
		if l := s.light("light-1"); l.Cause != cause {
			t.Errorf("the light says %s (%s), want %s", l.Cause, l.Reason, cause)
		}
	}
	says("", light.NothingLoaded)
	s.must(request.TestBatch{Batch: failed, Kind: "adhesion", Result: "pass"})
	says(failed, light.MixReady)
	older := s.mixes()
	s.pass(time.Minute, both(mild))
	loaded := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.CloseBatch{Batch: failed, Outcome: "used-up"})
	s.must(request.LoadBatch{Batch: loaded, Press: "press-1"})
	says("", light.EnoughLife) // it ends first
	s.must(request.TestBatch{Batch: loaded, Kind: "adhesion", Result: "fail"})
	says(older, light.AdhesionDoubtful)
}

// A mix with a fault that nobody has accepted is not brought to a press.
func TestNoLightNamesAMixWithAFault(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(time.Minute, both(mild))
	id := s.must(request.RecordMix{Ink: "dial-satin", Press: "press-1", MixedAt: s.b.clock.now(), Components: []mix.Component{
		{Part: "ink", G: 60}, {Part: "hardener", G: 30}, {Part: "thinner", G: 9}, // twice the hardener
	}}).ID
	if got := s.b.Snapshot().Presses[0].Next; got != "" {
		t.Errorf("next on press-1 is %q", got)
	}
	s.must(request.ConfirmStep{Batch: id, Step: "load", Override: "trial"})
	if got := s.b.Snapshot().Presses[0].Next; got != id {
		t.Errorf("accepted: next on press-1 is %q", got)
	}
}
