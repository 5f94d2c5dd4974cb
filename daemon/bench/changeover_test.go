package bench

import (
	"testing"
	"time"

	"potlifed/daemon/request"
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
	shows("the first mix is ready", light.Act, light.MixReady, "mix "+first+" is ready: bring it to press-1")
	s.must(request.LoadBatch{Batch: first, Press: "press-1"})
	shows("loaded", light.InOrder, light.EnoughLife, "enough life left")
	second := s.mixes()
	shows("the second mix is ready", light.InOrder, light.EnoughLife, "enough life left; the next mix, "+second+", is ready")
	s.must(request.LoadBatch{Batch: second, Press: "press-1", Replace: true})
	shows("changed over", light.InOrder, light.EnoughLife, "enough life left")
	if b := s.batch(first); b.Step != nil || b.Press != nil {
		t.Errorf("the old cup is asked for again: step %v, press %v", b.Step, b.Press)
	}
	s.must(request.UnloadBatch{Batch: second})
	shows("taken off", light.Empty, light.NothingLoaded, "nothing loaded")
}
