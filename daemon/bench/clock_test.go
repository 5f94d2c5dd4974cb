package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/mix"
)

// reboots loses power for off, with the wall clock then behind by lag and set or not.
func (c *handClock) reboots(off, lag time.Duration, synced bool) {
	c.is.Wall = c.is.Wall.Add(off - lag)
	c.is.Boot += "+"
	c.is.Mono = 30 * time.Second
	c.is.Synced = synced
}

// writes lets time go by until nothing waits to be written: a crash loses up to two minutes of air.
func (s *shop) writes() {
	for s.b.write.busy() {
		s.turn()
	}
}

func startWithBatch(t *testing.T, dir string, c *handClock) (s *shop, id string) {
	t.Helper()
	s = openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	id = s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(30*time.Minute, both(mild))
	return s, id
}

func TestRebootWithASetClockCountsTheGap(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s, id := startWithBatch(t, dir, c)
	mixed := *s.batch(id).MixedAt
	s.crash()
	c.reboots(2*time.Hour, 0, true)
	s = openShop(t, dir, c)
	defer s.crash()
	s.pass(time.Minute, both(mild))
	v := s.batch(id)
	if age, want := *v.AgeS, s.b.clock.now().Sub(mixed).Seconds(); math.Abs(age-want) > 1e-3 {
		t.Errorf("age %v s, want %v s", age, want)
	}
	if want := handRate(50) * s.b.clock.now().Sub(mixed).Hours(); math.Abs(s.spent(id)-want) > 1e-6 {
		t.Errorf("spent %v, by hand %v", s.spent(id), want)
	}
	if v.Quality != view.QualityUncertain { // most of its life was bridged
		t.Errorf("quality %s after two bridged hours, want uncertain", v.Quality)
	}
}

func TestRebootWithAnUnsetClockIsAtLeastUntilItIsSet(t *testing.T) {
	oneGoroutine(t)
	dir, c := t.TempDir(), newClock()
	s, id := startWithBatch(t, dir, c)
	s.writes()
	mixed := *s.batch(id).MixedAt
	before := *s.batch(id).AgeS
	s.crash()

	c.reboots(2*time.Hour, 2*time.Hour, false) // the saved clock stands where the power went
	s = openShop(t, dir, c)
	defer s.crash()
	s.pass(time.Minute, both(mild))
	v := s.batch(id)
	if v.Quality != view.QualityBad {
		t.Errorf("quality %s, want bad: the age is only at least", v.Quality)
	}
	if l := s.light("light-1"); l.Meaning != "unknown" {
		t.Errorf("light %s, want unknown", l.Meaning)
	}
	// 30 s since the boot and a minute since, less the open minute that a crash may lose.
	if *v.AgeS < before+30 {
		t.Errorf("age went from %v to %v s: it must not stand still", before, *v.AgeS)
	}
	if _, ok := s.alarm("clock", "bench-1"); !ok {
		t.Error("no alarm clock")
	}

	c.is.Wall = c.is.Wall.Add(2 * time.Hour) // the network sets the clock
	c.is.Synced = true
	s.pass(time.Minute, both(mild))
	v = s.batch(id)
	if want := s.b.clock.now().Sub(mixed).Seconds(); math.Abs(*v.AgeS-want) > 1 {
		t.Errorf("age %v s once the clock is set, want %v s: the gap is counted in full", *v.AgeS, want)
	}
	if want := handRate(50) * s.b.clock.now().Sub(mixed).Hours(); math.Abs(s.spent(id)-want) > 1e-4 {
		t.Errorf("spent %v, by hand %v", s.spent(id), want)
	}
	if v.Quality == view.QualityBad {
		t.Errorf("quality still bad: %s", v.Why)
	}
	if !v.MixedAt.Equal(mixed) {
		t.Errorf("mixed_at moved from %v to %v", mixed, *v.MixedAt)
	}
	s.overOnceSeen("clock", "bench-1")
}

func TestAStepOfTheClockChangesNoAge(t *testing.T) {
	oneGoroutine(t)
	for _, step := range []time.Duration{3 * time.Hour, -3 * time.Hour} {
		dir, c := t.TempDir(), newClock()
		s, id := startWithBatch(t, dir, c)
		before := s.batch(id)
		c.is.Wall = c.is.Wall.Add(step)
		s.pass(time.Minute, both(mild))
		v := s.batch(id)
		if math.Abs(*v.AgeS-*before.AgeS-60) > 1 {
			t.Errorf("step %v: age went from %v to %v s in a minute", step, *before.AgeS, *v.AgeS)
		}
		if want := before.MixedAt.Add(step); v.MixedAt.Sub(want).Abs() > time.Second {
			t.Errorf("step %v: mixed_at %v, want %v", step, *v.MixedAt, want)
		}
		if d := v.EndsAt.Expected.Sub(before.EndsAt.Expected.Add(step)).Abs(); d > time.Minute {
			t.Errorf("step %v: the expected end moved by %v beside the step", step, d)
		}
		if v.Quality != view.QualityGood {
			t.Errorf("step %v: quality %s (%s): a clock touches no batch's quality", step, v.Quality, v.Why)
		}
		s.crash()
		s = openShop(t, dir, c)
		s.pass(time.Minute, both(mild))
		if age := *s.batch(id).AgeS; math.Abs(age-*before.AgeS-120) > 2 {
			t.Errorf("step %v and a restart: age %v s, want %v s", step, age, *before.AgeS+120)
		}
		s.crash()
	}
}

func TestAClockThatWasNeverSetIsExactWithinOneBoot(t *testing.T) {
	oneGoroutine(t)
	dir, c := t.TempDir(), newClock()
	c.is.Synced = false
	s, id := startWithBatch(t, dir, c)
	if v := s.batch(id); v.Quality != view.QualityGood {
		t.Errorf("quality %s (%s), want good: age is exact whatever the wall clock says", v.Quality, v.Why)
	}
	before := *s.batch(id).AgeS
	s.crash()
	c.turn(time.Minute) // the daemon is restarted, the computer is not
	s = openShop(t, dir, c)
	defer s.crash()
	s.pass(time.Minute, both(mild))
	v := s.batch(id)
	if math.Abs(*v.AgeS-before-120) > 1e-3 || v.Quality == view.QualityBad {
		t.Errorf("age %v s, want %v s; quality %s", *v.AgeS, before+120, v.Quality)
	}
}

func TestRecordedWhileTheClockIsNotSet(t *testing.T) {
	c := newClock()
	c.is.Synced = false
	s := openShop(t, t.TempDir(), c)
	defer s.crash()
	s.pass(time.Minute, both(mild))
	v := s.must(request.RecordMix{
		Ink: "dial-satin", MixedAt: s.b.clock.now().Add(-time.Minute), Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}},
	})
	if v.Quality != view.QualityBad {
		t.Errorf("quality %s, want bad", v.Quality)
	}
}
