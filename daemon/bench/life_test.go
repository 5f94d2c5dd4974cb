package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// The air of an ordinary room goes up and down a little, a door is opened, a sensor is
// silent until its air counts as missing, the cup is carried about. The spent life that is
// shown never falls, to the end of the batch.
func TestShownSpentNeverFalls(t *testing.T) {
	oneGoroutine(t)
	c := newClock()
	dir := t.TempDir()
	s := openShop(t, dir, c)
	defer func() { s.crash() }()
	room := *humid
	s.pass(20*time.Second, both(&room))
	id := s.must(request.RecordMix{
		Ink: "dial-satin", MixedAt: s.b.clock.now(),
		Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}, {Part: "thinner", G: 7.5}},
	}).ID
	shown, at := 0.0, ""
	looks := func() {
		t.Helper()
		v := s.batch(id)
		if v.Spent == nil || *v.Spent < shown {
			t.Errorf("%s: spent went from %v to %v", at, shown, *v.Spent)
		}
		shown = *v.Spent
	}
	lives := func(what string, d time.Duration, r rooms) {
		t.Helper()
		at = what
		s.otherAir()
		for s.air = r; d > 0; d -= time.Second {
			for range 10 {
				s.turn()
			}
			looks()
		}
	}
	for i := range 30 {
		swing := math.Sin(2 * math.Pi * float64(i) / 7)
		room = air.State{TemperatureC: 20 + 0.02*swing, HumidityPct: 80 + 0.09*swing} // too little to close a step
		lives("air that goes up and down a little", 5*time.Second, both(&room))
	}
	dry := air.State{TemperatureC: 18, HumidityPct: 40}
	lives("an open door", 110*time.Second, both(&dry))
	for _, zone := range []string{"hall", "bench"} {
		s.must(request.MoveBatch{Batch: id, Zone: zone})
		lives("a move to another zone", 20*time.Second, both(&dry))
	}
	lives("a sensor that falls silent", 20*time.Minute, rooms{})
	lives("a sensor that is back", 2*time.Minute, both(&dry))

	s.crash()
	c.turn(5 * time.Minute)
	s = openShop(t, dir, c)
	shown = 0 // nobody remembers it over a restart
	lives("a restart, before the first reading", 3*time.Second, rooms{})
	lives("a restart into drier air", time.Minute, both(&air.State{TemperatureC: 16, HumidityPct: 25}))
	if v := s.must(request.CloseBatch{Batch: id, Outcome: lifecycle.UsedUp}); v.Spent == nil || *v.Spent < shown {
		t.Errorf("closed with %v spent, %v was shown", *v.Spent, shown)
	}
}
