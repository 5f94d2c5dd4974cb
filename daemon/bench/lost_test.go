package bench

import (
	"testing"
	"time"
)

// A step of air is closed when the sensor is lost, five minutes after its last reading, and not at
// the next whole minute: the forecast, and with it the bands, are those of lost air from then on.
func TestAStepIsClosedWhenTheSensorIsLost(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(2*time.Minute, both(mild))
	for s.clock.is.Wall.Second() != 10 {
		s.turn()
	}
	last := s.clock.is.Wall
	s.pass(5*time.Minute-time.Second, rooms{})
	if closed := s.b.state.Zones["bench"]; closed.Until.Sub(last) > 5*time.Minute-10*time.Second {
		t.Fatalf("a step ends %v after the last reading, before the sensor is lost", closed.Until.Sub(last))
	}
	s.pass(3*time.Second, rooms{})
	if closed := s.b.state.Zones["bench"]; closed.Until.Sub(last) < 5*time.Minute {
		t.Errorf("the last step ends %v after the last reading, want one that ends when the sensor is lost", closed.Until.Sub(last))
	}
	n := s.b.state.Zones["bench"].Until
	s.pass(20*time.Second, rooms{})
	if closed := s.b.state.Zones["bench"]; !closed.Until.Equal(n) {
		t.Errorf("another step was closed at %v", closed.Until)
	}
}
