package rehearsal

import (
	"context"
	"math"
	"time"

	"potlifed/devices/simulate"
	"potlifed/model/air"
)

const (
	// stirs is the press whose ink a drive moves.
	stirs      = "press-2"
	stirsEvery = 10 * time.Second
	// freshMNm is the torque in fresh ink at warmthC. It doubles within a pot life.
	freshMNm, warmthC = 20, 21
	// thinsPerKelvin is by how much warmer ink is thinner, and warmsWithin the time constant with which the ink
	// follows the air of the room; both are assumptions.
	thinsPerKelvin, warmsWithin = 0.05, 10 * time.Minute
)

// stirrer is the drive that moves the ink of a press. Its torque rises with the age of the ink and falls with its
// warmth, and without ink there is none.
type stirrer struct {
	drive *simulate.Drive
	feed  *feed
	clock *Paced
	air   func() air.State // of the room

	inkC float64 // temperature of the ink
}

// run goes with the ink until the context ends.
func (s *stirrer) run(ctx context.Context) error {
	s.inkC = s.air().TemperatureC
	for last := s.clock.Now().Mono; s.clock.Wait(ctx, stirsEvery) == nil; {
		now := s.clock.Now().Mono
		s.warm(now - last)
		last = now
		torque := 0.0
		if b, loaded := s.feed.find(func(b batch) bool { return b.on(stirs) }); loaded && b.Spent != nil {
			torque = torqueOf(*b.Spent, s.inkC)
		}
		s.drive.Set(torque)
	}
	return nil
}

// warm lets the ink follow the air for some time.
func (s *stirrer) warm(d time.Duration) {
	s.inkC += (s.air().TemperatureC - s.inkC) * -math.Expm1(-d.Seconds()/warmsWithin.Seconds())
}

// torqueOf is the torque in mNm in ink of an age, as a share of its pot life, and a temperature.
func torqueOf(spent, inkC float64) float64 {
	return freshMNm * math.Exp2(spent) * math.Exp(-thinsPerKelvin*(inkC-warmthC))
}
