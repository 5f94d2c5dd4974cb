package main

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/light"
)

// aYear is what a step is counted in.
const aYear = 365 * 24 * time.Hour

// TestFaultsOfTheClock steps the clock of the running program by a second to ten years, forth and
// back, kills it, and boots the computer without a clock. A batch ages as the time passes, whatever
// the clock shows: its age and its spent life go on, and where the time without power is not known
// its age counts as a least one, and its light as unknown, until the clock is set.
func TestFaultsOfTheClock(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole program, with a clock that steps")
	}
	t.Parallel()
	h := newHardware(t)
	c := newFileClock(t, 1)
	file := h.configuration(t, "")
	f := startFaultShop(t, filepath.Join(h.dir, "data"), file, c, func() *program { return startByClock(t, c, file) })
	steps := []time.Duration{time.Second, 10 * aYear}
	if rounds() > 1 {
		steps = append(steps, 10*time.Second, time.Minute, time.Hour, 24*time.Hour, 30*24*time.Hour, aYear)
	}
	tried := 0
	for _, size := range steps {
		for _, by := range []time.Duration{size, -size, -size, size} {
			f.stepped(by)
			tried++
		}
	}
	t.Logf("steps of the clock: tried %d times, %d changes answered, %d lost, longest recovery %v", tried, f.answered, f.lost, f.longest.Round(10*time.Millisecond))
	f.longest, tried = 0, 0
	for _, away := range []time.Duration{time.Minute, time.Hour, 3 * 24 * time.Hour}[:min(rounds(), 3)] {
		for _, shows := range []string{"the time of the last stop", "1970"} {
			f.bootsWithoutAClock(away, shows)
			tried++
		}
	}
	t.Logf("boots without a clock: tried %d times, %d changes answered, %d lost, longest recovery %v", tried, f.answered, f.lost, f.longest.Round(10*time.Millisecond))
	f.p.stop()
}

func (f *faultShop) stepped(by time.Duration) {
	t := f.t
	t.Helper()
	f.p.eventually("the air to be known", func() (bool, any) { b := f.p.batch(f.batch); return b.Quality != view.QualityBad, b.Why })
	before := f.p.batch(f.batch)
	until := f.clock.now().Wall.Sub(before.Time)
	f.clock.steps(by)
	wantTime := f.clock.now().Wall
	<-f.asks(3)
	f.ages("stepped by "+by.String(), before, until, wantTime, by)
	f.p.kill()
	began := time.Now()
	f.p = f.starts()
	f.longest = max(f.longest, time.Since(began))
	f.check("stepped by "+by.String()+", and killed", fault{}, *before.Spent)
	f.ages("stepped by "+by.String()+", and killed", before, until, wantTime, by)
}

// ages waits until the program has seen the new time and checks the age of the batch, which was
// looked at a while before the clock was stepped to the new time.
func (f *faultShop) ages(name string, before view.Batch, while time.Duration, wall time.Time, by time.Duration) {
	t := f.t
	t.Helper()
	var now view.Batch
	f.p.eventually(name+": the new time", func() (bool, any) {
		now = f.p.batch(f.batch)
		behind := f.clock.now().Wall.Sub(now.Time).Abs()
		return behind < max(by.Abs()/2, 900*time.Millisecond) && behind < time.Minute, now.Time
	})
	passed := while + now.Time.Sub(wall)
	if off := *now.AgeS - *before.AgeS - passed.Seconds(); math.Abs(off) > 2 {
		t.Errorf("%s: the age went from %v to %v s in %v", name, *before.AgeS, *now.AgeS, passed)
	}
	if !strings.Contains(name, "killed") && *now.Spent < *before.Spent-1e-6 {
		t.Errorf("%s: spent fell from %v to %v", name, *before.Spent, *now.Spent)
	}
}

func (f *faultShop) bootsWithoutAClock(away time.Duration, shows string) {
	t := f.t
	t.Helper()
	name := "away for " + away.String() + ", the clock shows " + shows
	f.loads() // of an older one the life may be over, which is shown whatever else is not known
	f.p.eventually("the air to be known", func() (bool, any) { b := f.p.batch(f.batch); return b.Quality != view.QualityBad, b.Why })
	before := f.p.batch(f.batch)
	mono := f.clock.now().Mono
	f.p.kill()
	passed := f.clock.now().Mono - mono
	lag := away
	if shows == "1970" {
		lag = time.Duration(f.clock.now().Wall.Add(away).UnixNano())
	}
	f.clock.boots(away, lag)
	began := time.Now()
	f.p = f.starts()
	f.longest = max(f.longest, time.Since(began))
	f.check(name, fault{}, *before.Spent)
	f.p.eventually(name+": what is not known", func() (bool, any) {
		b := f.p.batch(f.batch)
		var presses struct{ Presses []view.Press }
		f.get("/api/v1/presses", &presses)
		ok := b.Quality == view.QualityBad && presses.Presses[0].Light == light.Unknown && f.standing("clock")
		return ok && *b.AgeS >= *before.AgeS, []any{b.Quality, presses.Presses[0].Light, *b.AgeS}
	})
	<-f.asks(3)
	f.clock.isSet(lag)
	f.p.eventually(name+": the whole age", func() (bool, any) {
		b := f.p.batch(f.batch)
		want := *before.AgeS + passed.Seconds() + away.Seconds() + (f.clock.now().Mono - 30*time.Second).Seconds()
		return math.Abs(*b.AgeS-want) < 2, []any{*b.AgeS, want}
	})
	f.check(name+", and set", fault{}, *before.Spent)
}

// standing reports whether the cause of an alarm stands.
func (f *faultShop) standing(name string) bool {
	var alarms struct{ Alarms []view.Alarm }
	f.get("/api/v1/alarms", &alarms)
	for _, a := range alarms.Alarms {
		if a.Name == name && a.State != "returned" {
			return true
		}
	}
	return false
}
