package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

func TestABatchOnAPress(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	if l := s.light("light-1"); l.Meaning != "act" {
		t.Errorf("a mix for press-1 waits to be loaded: light %s, want act", l.Meaning)
	}
	v := s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	if v.Press == nil || *v.Press != "press-1" || v.Step != nil {
		t.Errorf("loaded: press %v, step %v", v.Press, v.Step)
	}
	other := s.mixes()
	if _, refusal := s.ask(request.LoadBatch{Batch: other, Press: "press-1"}); refusal == nil || refusal.Kind != request.NotNow {
		t.Errorf("a press that holds a batch: %v, want it refused as not now", refusal)
	}
	s.must(request.LoadBatch{Batch: other, Press: "press-1", Replace: true})
	if s.batch(id).Press != nil {
		t.Error("the replaced batch is still on the press")
	}
	s.must(request.CloseBatch{Batch: other, Outcome: "went-off"})
	if l := s.light("light-1"); l.Meaning != "do-not-print" {
		t.Errorf("gone off on the press: light %s, want do-not-print", l.Meaning)
	}
	s.must(request.UnloadBatch{Batch: other})
	if l := s.light("light-1"); l.Meaning == "do-not-print" {
		t.Errorf("unloaded: light still %s", l.Meaning)
	}
}

// TestAMoveIsForeseenAtOnce: the answer to a move already has the ends in the air of the new place, also
// where the batch has just been looked at and no step of air was closed between.
func TestAMoveIsForeseenAtOnce(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, rooms{"bench-air": mild, "hall-air": humid})
	id := s.must(request.RecordMix{
		Ink: "dial-satin", MixedAt: s.b.clock.now(),
		Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}, {Part: "thinner", G: 7.5}},
	}).ID
	s.must(request.MoveBatch{Batch: id, Zone: "hall"})
	inHumid := s.batch(id).RemainingS.Low
	inMild := s.must(request.MoveBatch{Batch: id, Zone: "bench"}).RemainingS.Low
	again := s.must(request.MoveBatch{Batch: id, Zone: "hall"}).RemainingS.Low
	if inMild < 1.1*inHumid || math.Abs(again/inHumid-1) > 0.01 {
		t.Errorf("%.0f s in the hall's humid air, %.0f s in the bench's, %.0f s back in the hall", inHumid, inMild, again)
	}
}

// TestLifeRunsOut follows a batch to its end: yellow, then red, with the alarms of
// each, in air that never changes.
func TestLifeRunsOut(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(humid))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	ends := *s.batch(id).EndsAt
	seen := map[string]time.Time{}
	order := []string{}
	for range 10 * 60 {
		s.pass(time.Minute, both(humid))
		l := s.light("light-1")
		if _, ok := seen[string(l.Meaning)]; !ok {
			seen[string(l.Meaning)] = s.b.clock.now()
			order = append(order, string(l.Meaning))
		}
		v := s.batch(id)
		r, left := *v.Risk, v.RemainingS
		if (left.Low == 0) != (r >= 0.10) || (left.Expected == 0) != (r >= 0.50) || (left.High == 0) != (r >= 0.90) {
			t.Fatalf("risk %v with remaining %+v: an end is past exactly when the risk has passed its level", r, *left)
		}
	}
	if len(order) != 3 || order[0] != "in-order" || order[1] != "soon" || order[2] != "do-not-print" {
		t.Fatalf("the light showed %v", order)
	}
	if soon := ends.Low.Add(-45 * time.Minute); seen["soon"].Sub(soon).Abs() > 12*time.Minute {
		t.Errorf("yellow at %v, the low end less 45 min was %v", seen["soon"], soon)
	}
	for _, name := range []string{"batch-ending", "batch-risk", "batch-dead", "batch-left-open"} {
		if _, ok := s.alarm(name, id); !ok {
			t.Errorf("no alarm %s", name)
		}
	}
	if l := s.light("light-1"); !l.Flashing {
		t.Error("the light does not flash while alarms are not acknowledged")
	}
	for _, name := range []string{"batch-ending", "batch-risk", "batch-dead", "batch-left-open"} {
		s.acknowledge(name, id)
	}
	s.pass(time.Second, both(humid))
	if l := s.light("light-1"); l.Flashing {
		t.Error("the light flashes although everything is acknowledged")
	}
	s.must(request.CloseBatch{Batch: id, Outcome: "discarded", StillGood: "no"})
	for _, a := range s.b.Snapshot().Alarms {
		if a.Subject == id {
			t.Errorf("alarm %s stands after its batch was closed", a.Name)
		}
	}
	if l := s.light("light-1"); l.Meaning != "empty" {
		t.Errorf("light %s after the close, want empty", l.Meaning)
	}
}

func TestRestingIsRed(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	v := s.must(request.RecordMix{
		Ink: "dial-flat", MixedAt: s.b.clock.now().Add(-time.Minute),
		Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 6}, {Part: "thinner", G: 6.6}},
	})
	if v.State != lifecycle.Resting {
		t.Fatalf("an ink that rests 10 min is %s after one", v.State)
	}
	s.must(request.LoadBatch{Batch: v.ID, Press: "press-1"})
	if l := s.light("light-1"); l.Meaning != "do-not-print" {
		t.Errorf("loaded while it rests: light %s, want do-not-print", l.Meaning)
	}
	s.pass(10*time.Minute, both(mild))
	if got := s.batch(v.ID); got.State != lifecycle.Open {
		t.Errorf("after its rest it is %s", got.State)
	}
}

func TestRecordedBatchLivesThroughTheAirThatWas(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	s.pass(30*time.Minute, both(mild))
	s.pass(30*time.Minute, both(humid))
	mixed := s.b.clock.now().Add(-50 * time.Minute)
	v := s.must(request.RecordMix{
		Ink: "dial-satin", MixedAt: mixed, Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}},
	})
	want := handRate(50)*(20*time.Minute).Hours() + handRate(80)*(30*time.Minute).Hours()
	if math.Abs(s.spent(v.ID)-want) > 1e-4 { // the change fell somewhere inside five seconds
		t.Errorf("spent %v, by hand %v", s.spent(v.ID), want)
	}
}

func TestAbsurdChangesAreRefused(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	g := func(f float64) *float64 { return &f }
	now := s.b.clock.now()
	parts := func(ink, hardener float64) []mix.Component {
		return []mix.Component{{Part: "ink", G: ink}, {Part: "hardener", G: hardener}}
	}
	seq := s.b.state.Seq
	for name, c := range map[string]struct {
		change request.Change
		kind   request.RefusalKind
	}{
		"unknown ink":         {request.StartMix{Ink: "gold"}, request.Invalid},
		"unknown scale":       {request.StartMix{Ink: "dial-satin", Scale: "scale-9"}, request.Invalid},
		"unknown press":       {request.StartMix{Ink: "dial-satin", Press: "press-9"}, request.Invalid},
		"unknown cup":         {request.StartMix{Ink: "dial-satin", Cup: "bucket"}, request.Invalid},
		"no ink mass":         {request.StartMix{Ink: "dial-satin", InkG: g(0)}, request.Invalid},
		"negative ink":        {request.StartMix{Ink: "dial-satin", InkG: g(-60)}, request.Invalid},
		"not a number":        {request.StartMix{Ink: "dial-satin", InkG: g(math.NaN())}, request.Invalid},
		"absurd ink":          {request.StartMix{Ink: "dial-satin", InkG: g(1e12)}, request.Invalid},
		"overfull cup":        {request.StartMix{Ink: "dial-satin", InkG: g(100)}, request.Invalid},
		"thinner out of it":   {request.StartMix{Ink: "dial-satin", ThinnerPct: g(35)}, request.Invalid},
		"colour class":        {request.StartMix{Ink: "dial-satin", ColourClass: "pink"}, request.Invalid},
		"artwork":             {request.StartMix{Ink: "dial-satin", Artwork: "big"}, request.Invalid},
		"confirm of nothing":  {request.ConfirmStep{Batch: "0612-9", Step: "ink"}, request.NotFound},
		"future":              {request.RecordMix{Ink: "dial-satin", MixedAt: now.Add(time.Hour), Components: parts(60, 15)}, request.Invalid},
		"long ago":            {request.RecordMix{Ink: "dial-satin", MixedAt: now.AddDate(-1, 0, 0), Components: parts(60, 15)}, request.Invalid},
		"negative part":       {request.RecordMix{Ink: "dial-satin", MixedAt: now, Components: parts(60, -15)}, request.Invalid},
		"infinite part":       {request.RecordMix{Ink: "dial-satin", MixedAt: now, Components: parts(math.Inf(1), 15)}, request.Invalid},
		"no hardener":         {request.RecordMix{Ink: "dial-satin", MixedAt: now, Components: parts(60, 0)[:1]}, request.Invalid},
		"unknown part":        {request.RecordMix{Ink: "dial-satin", MixedAt: now, Components: []mix.Component{{Part: "water", G: 1}}}, request.Invalid},
		"load of nothing":     {request.LoadBatch{Batch: "0612-9", Press: "press-1"}, request.NotFound},
		"unload of nothing":   {request.UnloadBatch{Batch: "0612-9"}, request.NotFound},
		"close of nothing":    {request.CloseBatch{Batch: "0612-9", Outcome: "used-up"}, request.NotFound},
		"no such alarm":       {request.AcknowledgeAlarm{Alarm: "clock", Subject: "bench-1"}, request.NotFound},
		"good without a name": {request.GoodBatch{}, request.NotFound},
	} {
		_, refusal := s.ask(c.change)
		if refusal == nil || refusal.Kind != c.kind || refusal.Detail == "" {
			t.Errorf("%s: %v, want %q with a reason", name, refusal, c.kind)
		}
	}
	if s.b.state.Seq != seq {
		t.Errorf("refused changes left %d events", s.b.state.Seq-seq)
	}
}

// A mix that was made by hand is for a press, and of a colour, as one that the bench guided.
func TestRecordedForAPress(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(10*time.Second, both(mild))
	mixed := request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Components: usualMix, Press: "press-1", Colour: "light"}
	v := s.must(mixed)
	if v.For != "press-1" || v.Colour != "light" || v.Cup != s.b.Snapshot().Presses[0].Cup {
		t.Errorf("recorded for %q in %q, colour %q", v.For, v.Cup, v.Colour)
	}
	if l := s.light("light-1"); l.Cause != light.MixReady {
		t.Errorf("the light says %s", l.Reason)
	}
	mixed.Press = "press-9"
	_, r := s.ask(mixed)
	refused(t, r, request.Invalid, "", "press-9")
	mixed.Press, mixed.Colour = "", "mauve"
	_, r = s.ask(mixed)
	refused(t, r, request.Invalid, "", "mauve")
}
