package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/record"
)

// TestAStepOfTheClockOnASlowDisk looks at the bench while the event of a step is being written.
func TestAStepOfTheClockOnASlowDisk(t *testing.T) {
	const year = 365 * 24 * time.Hour
	for step, busy := range map[time.Duration]bool{10 * year: true, time.Hour: false, -time.Hour: true, -10 * year: false} {
		s, id := startWithBatch(t, t.TempDir(), newClock())
		before, lit := s.batch(id), s.light("light-1")
		if busy { // the disk is busy with another event already
			s.b.decide(s.b.clock.now(), "bench", record.ConfigurationRead{})
			s.b.flush()
		}
		s.clock.turn(time.Second)
		s.clock.is.Wall = s.clock.is.Wall.Add(step)
		look := func(when string) {
			t.Helper()
			v := s.batch(id)
			if math.Abs(*v.AgeS-*before.AgeS-1) > 0.5 || *v.Spent < *before.Spent-1e-9 || *v.Spent > *before.Spent+1e-3 {
				t.Errorf("step %v, %s: age from %v to %v s, spent from %v to %v in a second", step, when, *before.AgeS, *v.AgeS, *before.Spent, *v.Spent)
			}
			if l := s.light("light-1"); l.Meaning != lit.Meaning {
				t.Errorf("step %v, %s: the light went from %s to %s", step, when, lit.Meaning, l.Meaning)
			}
		}
		s.b.tick(s.b.clock.now())
		s.b.flush()
		s.b.publish(s.b.clock.now())
		look("not on disk yet")
		for s.b.write.busy() {
			if s.b.write.flight == nil {
				s.b.flush()
			}
			s.b.acknowledged(s.journal.Write(<-s.journal.groups))
			look("a group is on disk")
			s.b.flush()
			s.b.publish(s.b.clock.now())
			look("the next group is on its way")
		}
		if len(s.b.write.steps) != 0 {
			t.Errorf("step %v: %d steps are kept", step, len(s.b.write.steps))
		}
		s.crash()
	}
}
