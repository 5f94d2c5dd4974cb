package bench

import (
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/alarm"
	"potlifed/model/light"
)

// A change-over as a press sees it: its light stays green while the next mix is ready, and
// the cup that came off is not asked for again.
func TestLightOfAChangeOver(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(time.Minute, both(mild))
	shows := func(when string, meaning light.Meaning, cause light.Cause, reason string) {
		t.Helper()
		l := s.light("light-1")
		if l.Meaning != meaning || l.Cause != cause || l.Reason != reason {
			t.Errorf("%s: the light is %s, %s (%s); want %s, %s (%s)", when, l.Meaning, l.Cause, l.Reason, meaning, cause, reason)
		}
	}
	first := s.mixes()
	shows("the first mix is ready", light.Act, light.MixReady, "Mix "+first+" is ready: bring it to press-1.")
	s.must(request.LoadBatch{Batch: first, Press: "press-1"})
	shows("loaded", light.InOrder, light.EnoughLife, "Enough life left.")
	second := s.mixes()
	shows("the second mix is ready", light.InOrder, light.EnoughLife, "Enough life left. The next mix, "+second+", is ready.")
	s.must(request.LoadBatch{Batch: second, Press: "press-1", Replace: true})
	shows("changed over", light.InOrder, light.EnoughLife, "Enough life left.")
	if b := s.batch(first); b.Step != nil || b.Press != nil {
		t.Errorf("the old cup is asked for again: step %v, press %v", b.Step, b.Press)
	}
	s.must(request.UnloadBatch{Batch: second})
	shows("taken off", light.Empty, light.NothingLoaded, "Nothing loaded.")
	other := s.records("dial-flat", 80, 8, 11)
	s.pass(11*time.Minute, both(mild)) // it has rested
	s.must(request.LoadBatch{Batch: other, Press: "press-1"})
	third := s.mixes()
	shows("a mix of another ink is ready", light.InOrder, light.EnoughLife, "Enough life left. The next mix, "+third+", is ready. It is another ink: dial-satin.")
}

// A mix that waited past the time to which it is safe is ready for no press, until somebody has looked at it.
func TestAMixThatWaitedTooLong(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	s.pass(time.Minute, both(mild))
	waits := s.mixes()
	if l := s.light("light-1"); l.Cause != light.MixReady {
		t.Fatalf("a fresh mix: %s (%s)", l.Cause, l.Reason)
	}
	for range 60 {
		s.pass(10*time.Minute, both(mild))
		is := s.batch(waits)
		if is.EndsAt.Low.After(s.b.clock.now()) {
			continue
		}
		if *is.Risk >= 0.25 {
			t.Fatalf("the risk is %v already", *is.Risk)
		}
		if next := s.b.Snapshot().Presses[0].Next; next != "" {
			t.Errorf("past its time, %s is the next mix on press-1", next)
		}
		break
	}
	if l := s.light("light-1"); l.Meaning != light.Empty || l.Cause != light.NothingLoaded {
		t.Errorf("with risk %v: %s, %s (%s)", *s.batch(waits).Risk, l.Meaning, l.Cause, l.Reason)
	}
	s.must(request.GoodBatch{Batch: waits})
	if l := s.light("light-1"); l.Cause != light.MixReady {
		t.Errorf("it was looked at: %s (%s)", l.Cause, l.Reason)
	}
}

// A mix that is safe for no longer than the cup on the press does not replace it: neither the light nor the
// alarm names it, and the next mix is still to be made.
func TestAMixThatEndsBeforeTheLoadedOneIsNotTheNext(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	s.pass(time.Minute, both(mild))
	next := func(want string) {
		t.Helper()
		if got := s.b.Snapshot().Presses[0].Next; got != want {
			t.Errorf("next on press-1 is %q, want %q", got, want)
		}
	}
	waits := s.mixes()
	next(waits)
	s.pass(time.Hour, both(mild))
	loaded := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: loaded, Press: "press-1"})
	next("")
	if l := s.light("light-1"); l.Reason != "Enough life left." {
		t.Errorf("the light says %q", l.Reason)
	}
	row := &record.Alarm{Name: alarm.BatchEnding, Subject: loaded, State: alarm.Unacknowledged}
	if got := s.b.alarmView(s.b.state, row, s.b.clock.now()).Response; !strings.HasPrefix(got, "Begin the next mix now") {
		t.Errorf("the alarm says %q", got)
	}
	s.pass(time.Minute, both(mild))
	younger := s.mixes()
	next(younger)
	if l := s.light("light-1"); l.Reason != "Enough life left. The next mix, "+younger+", is ready." {
		t.Errorf("the light says %q", l.Reason)
	}
	s.must(request.UnloadBatch{Batch: loaded})
	next(younger) // an empty press takes the one that is safe for longest
	if l := s.light("light-1"); l.Reason != "Mix "+younger+" is ready: bring it to press-1." {
		t.Errorf("the light of an empty press says %q", l.Reason)
	}
}

// One answer ends or keeps the batch that comes off, one undo takes all of it back, and nobody
// is asked for the old cup again.
func TestAChangeOverIsOneChange(t *testing.T) {
	half, left := 0.5, 23.4
	for name, c := range map[string]struct {
		says    request.ComesOff
		outcome string // empty for a batch that stays open
	}{
		"used up":         {request.ComesOff{Outcome: "used-up", StillGood: "yes"}, "used-up"},
		"discarded":       {request.ComesOff{Outcome: "discarded", LeftG: &left}, "discarded"},
		"gone off":        {request.ComesOff{Outcome: "went-off", Seen: "now"}, "went-off"},
		"kept":            {request.ComesOff{Outcome: request.Kept}, ""},
		"kept, half open": {request.ComesOff{Outcome: request.Kept, Exposure: &half}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := openShop(t, t.TempDir(), newClock())
			s.pass(20*time.Second, both(mild))
			old, next := s.mixes(), s.mixes()
			s.must(request.LoadBatch{Batch: old, Press: "press-1"})
			c.says.Batch = old
			done := s.must(request.LoadBatch{Batch: next, Press: "press-1", ComesOff: &c.says})
			if done.ID != next || text(done.Press) != "press-1" {
				t.Fatalf("answered with %s on %q", done.ID, text(done.Press))
			}
			was, _ := s.b.state.Find(old)
			if string(was.Outcome) != c.outcome || c.outcome == "" && was.Press != "" {
				t.Errorf("the old batch ended as %q on %q, want %q", was.Outcome, was.Press, c.outcome)
			}
			if c.outcome == "" && was.Basis.Place.Exposure != 0.5 {
				t.Errorf("kept with exposure %v, want it loosely covered", was.Basis.Place.Exposure)
			}
			if c.says.LeftG != nil && (was.LeftG == nil || *was.LeftG != left) {
				t.Errorf("left over: %v", was.LeftG)
			}
			s.pass(time.Second, both(mild))
			if l := s.light("light-1"); l.Meaning != light.InOrder || l.Batch != next {
				t.Errorf("after the change-over the light is %s for %q (%s)", l.Meaning, l.Batch, l.Reason)
			}
			for _, b := range s.b.Snapshot().Batches {
				if b.ID == old && b.Step != nil {
					t.Errorf("the old cup is asked for again, at step %s", *b.Step)
				}
			}
			s.must(request.Undo{Batch: next, Seq: done.Seq})
			if text(s.batch(old).Press) != "press-1" || s.batch(next).Press != nil || s.batch(old).State != "open" {
				t.Errorf("undone: the old batch is on %q, the new one on %q", text(s.batch(old).Press), text(s.batch(next).Press))
			}
		})
	}
}

func TestAChangeOverIsRefused(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	old, next := s.mixes(), s.mixes()
	s.must(request.LoadBatch{Batch: old, Press: "press-1"})
	zero, left := 0.0, 5.0
	seq := s.b.state.Seq
	for name, c := range map[string]request.ComesOff{
		"another batch than is there": {Batch: next, Outcome: "used-up"},
		"no batch named":              {Outcome: "used-up"},
		"no outcome":                  {Batch: old},
		"gone off and good":           {Batch: old, Outcome: "went-off", StillGood: "yes"},
		"kept and left over":          {Batch: old, Outcome: request.Kept, LeftG: &left},
		"kept in no way":              {Batch: old, Outcome: request.Kept, Exposure: &zero},
		"closed, and covered":         {Batch: old, Outcome: "used-up", Exposure: &left},
		"weighed and said":            {Batch: old, Outcome: "discarded", LeftG: &left, Weigh: true},
	} {
		if _, refusal := s.ask(request.LoadBatch{Batch: next, Press: "press-1", ComesOff: &c}); refusal == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if s.b.state.Seq != seq || s.b.state.Presses["press-1"].Batch != old {
		t.Errorf("refused changes left %d events, and %q is on the press", s.b.state.Seq-seq, s.b.state.Presses["press-1"].Batch)
	}
	// Somebody else has closed it meanwhile: nothing is left to say about it.
	s.must(request.CloseBatch{Batch: old, Outcome: "used-up"})
	s.must(request.LoadBatch{Batch: next, Press: "press-1", ComesOff: &request.ComesOff{Batch: old, Outcome: "discarded"}})
}
