package rehearsal

import (
	"context"
	"math"
	"time"

	"potlifed/devices/simulate"
)

const (
	// stirs is the press whose ink a drive moves.
	stirs      = "press-2"
	stirsEvery = 10 * time.Second
	// freshMNm is the torque in fresh ink. It doubles within a pot life.
	freshMNm = 20
)

// stirrer is the drive that moves the ink of a press. Its torque rises with the age of the ink, and without ink there
// is none.
type stirrer struct {
	drive *simulate.Drive
	feed  *feed
	clock *Paced
}

// run goes with the ink until the context ends.
func (s *stirrer) run(ctx context.Context) error {
	for s.clock.Wait(ctx, stirsEvery) == nil {
		torque := 0.0
		if b, loaded := s.feed.find(func(b batch) bool { return b.on(stirs) }); loaded && b.Spent != nil {
			torque = freshMNm * math.Exp2(*b.Spent)
		}
		s.drive.Set(torque)
	}
	return nil
}
