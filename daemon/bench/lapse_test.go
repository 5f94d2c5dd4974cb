package bench

import (
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/weigh"
)

// A busy computer delays an instrument by a fifth of a second. At 240 times the speed
// that is 48 seconds of the bench's time, and still no silence.
func TestDelayInATimeLapseIsNoSilence(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.clock.speed = 240
	s.weighs(0, 2*time.Second)
	s.pass(time.Minute, both(mild))

	delayed := func(real time.Duration) (scale view.Scale, air view.Quality) {
		s.weighs(0, 2*time.Second)
		s.pass(6*time.Second, both(mild))
		s.clock.turn(s.b.clock.lapse(real))
		s.b.tick(s.b.clock.now())
		s.settle()
		snap := s.b.Snapshot()
		return snap.Scales[0], snap.Air[0].Quality
	}
	if scale, air := delayed(200 * time.Millisecond); !scale.Up || air != view.QualityGood {
		t.Errorf("a delay of 0.2 s: scale up is %v (%s), air %s; want up, good", scale.Up, scale.Why, air)
	}
	if scale, air := delayed(30 * time.Second); scale.Up || air == view.QualityGood {
		t.Errorf("a silence of 30 s: scale up is %v, air %s; want neither", scale.Up, air)
	}
}

// A scale that settles within a second does so in a time lapse too, where the second is minutes of
// the bench's time.
func TestAScaleSettlesNoSlowerInATimeLapse(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.clock.speed = 240
	for i := range 12 {
		for n := range 30 { // ten lines a second, at rest after a second
			s.clock.turn(s.b.clock.lapse(100 * time.Millisecond))
			r := weigh.Reading{Grams: float64(40 * (i % 2)), HasWeight: true, Stability: weigh.Moving}
			if n >= 10 {
				r.Stability = weigh.Stable
			}
			s.enter(weightReading{scale: "scale-1", reading: r, at: s.clock.is.Mono})
		}
	}
	s.b.tick(s.b.clock.now())
	s.settle()
	v := s.sensorRow("scale-1").Health
	if v == nil || v.SettleS == nil || *v.SettleS > 3 || v.Noisy {
		t.Errorf("health %+v, want some seconds to settle", v)
	}
}
