package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/model/alarm"
)

// A wall clock whose seconds have 32 bits with a sign goes from 2038 to 1901 while a batch is open, and no longer
// counts as set. The batch's age goes on, also across a power cut, and the alarm says why.
func TestWallClockThatGoesTo1901(t *testing.T) {
	oneGoroutine(t)
	dir, c := t.TempDir(), newClock()
	c.is.Wall = time.Unix(1<<31-1, 0).UTC().Add(-31 * time.Minute)
	s, id := startWithBatch(t, dir, c)
	before, mono := *s.batch(id).AgeS, c.is.Mono
	c.is.Wall, c.is.Synced = c.is.Wall.Add(-(1<<32)*time.Second), false
	s.pass(time.Hour, both(mild))
	if got, want := *s.batch(id).AgeS-before, (c.is.Mono - mono).Seconds(); math.Abs(got-want) > 1e-3 {
		t.Errorf("the age grew by %v s in %v s", got, want)
	}
	s.is(alarm.Unacknowledged, alarm.ClockUnset, "bench-1")
	s.writes()
	before, spent := *s.batch(id).AgeS, s.spent(id)
	s.crash()
	c.reboots(2*time.Hour, 0, false)
	s = openShop(t, dir, c)
	defer s.crash()
	s.pass(time.Minute, both(mild))
	if got := *s.batch(id).AgeS; got < before {
		t.Errorf("after the power cut the age is %v s, it was %v s", got, before)
	}
	if got := s.spent(id); got < spent {
		t.Errorf("after the power cut %v is spent, it was %v", got, spent)
	}
}
