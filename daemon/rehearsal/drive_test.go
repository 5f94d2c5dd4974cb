package rehearsal

import (
	"math"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/viscosity"
)

// TestTheDriveIsBelievable: over the weather of the demo the torque does what is expected of an instrument that was
// not learned yet, warmth included, so that it is not taken for a broken one.
func TestTheDriveIsBelievable(t *testing.T) {
	curve := viscosity.LearnTrend(nil)
	after := time.Duration(0)
	s := &stirrer{air: func() air.State { return airIn(presses, after) }, inkC: airIn(presses, 0).TemperatureC}
	before, beforeC := torqueOf(0, s.inkC), s.inkC
	warmest := s.inkC
	for ; after < comesRound; after += stirsEvery {
		s.warm(stirsEvery)
		warmest = max(warmest, s.inkC)
		spent := after.Hours() / comesRound.Hours()
		got := math.Log(torqueOf(spent, s.inkC) / before)
		want := curve.Expected(0, spent) - curve.PerKelvin*(s.inkC-beforeC)
		if math.Abs(got-want) > 0.02 {
			t.Fatalf("after %v, at %.1f °C, ln torque has moved by %.3f, want about %.3f", after, s.inkC, got, want)
		}
	}
	if dry, humid := climates[presses].dry.TemperatureC, climates[presses].humid.TemperatureC; warmest < humid-0.5 || math.Abs(s.inkC-dry) > 0.5 {
		t.Errorf("the ink was %.1f °C at most and is %.1f °C in the end; the air went from %v to %v and back", warmest, s.inkC, dry, humid)
	}
}
