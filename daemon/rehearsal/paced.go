package rehearsal

import (
	"context"
	"fmt"
	"sync"
	"time"

	"potlifed/daemon/clock"
)

// stride is the most of its own time that the clock moves on between two looks at it.
// The service looks many times a second, so this matters only when the whole program
// stood still for a moment: at sixty times the speed a fifth of a second on a busy
// computer would else be a scale that was silent for twelve. The time lapse becomes
// slower instead.
const stride = 5 * time.Second

// Paced is a clock that runs faster than time does, at a speed that may be changed.
// Wall clock and monotonic time move on together, without a leap and never back; it
// counts as a boot of its own. It may be used from any goroutine.
type Paced struct {
	fastest float64
	began   clock.Instant
	real    func() time.Duration // time that has really gone by

	mu    sync.Mutex
	speed float64
	seen  time.Duration // real, at the last look
	gone  time.Duration // on this clock, since it began
}

var _ clock.Clock = (*Paced)(nil)

// NewPaced starts a clock at the present time and at natural speed. fastest, 1 or
// more, is the highest speed that it will be given.
func NewPaced(fastest float64) *Paced {
	began := time.Now()
	return newPaced(fastest, began.UTC().Round(0), func() time.Duration { return time.Since(began) })
}

func newPaced(fastest float64, wall time.Time, real func() time.Duration) *Paced {
	return &Paced{
		fastest: fastest, real: real, speed: 1, seen: real(),
		// As a computer that was switched on a minute ago: at zero nothing has happened.
		began: clock.Instant{Wall: wall, Boot: fmt.Sprintf("rehearsal-%d", wall.UnixNano()), Mono: time.Minute, Synced: true},
	}
}

// Now reads the clock.
func (p *Paced) Now() clock.Instant {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.look()
	now := p.began
	now.Wall, now.Mono = now.Wall.Add(p.gone), now.Mono+p.gone
	return now
}

// look brings the clock up to date; mu is held.
func (p *Paced) look() {
	seen := p.real()
	p.gone += min(max(time.Duration(float64(seen-p.seen)*p.speed), 0), stride)
	p.seen = seen
}

// SetSpeed makes the clock run so many times as fast as time from now on; at most as
// fast as it was made for.
func (p *Paced) SetSpeed(speed float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.look()
	p.speed = min(max(speed, 0), p.fastest)
}

// Real is how long to wait for d to pass at the highest speed. At a lower one that is
// too short; but a wait that began at natural speed may end in the time lapse, and
// there a sensor that is read every ten seconds would have been left alone for ten
// minutes.
func (p *Paced) Real(d time.Duration) time.Duration {
	return time.Duration(float64(d) / p.fastest)
}

// Took is how long what took d by this clock has really taken, at the present speed.
func (p *Paced) Took(d time.Duration) time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.speed == 0 {
		return d
	}
	return time.Duration(float64(d) / p.speed)
}

// Lapse is how far the clock moves on while d of real time goes by, at the present
// speed.
func (p *Paced) Lapse(d time.Duration) time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	return time.Duration(float64(d) * max(p.speed, 1))
}

// nap bounds how long Wait sleeps without a look: the speed may have changed.
const nap = 50 * time.Millisecond

// Wait waits until the clock has moved on by d, whatever its speed is meanwhile.
func (p *Paced) Wait(ctx context.Context, d time.Duration) error {
	until := p.Now().Mono + d
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		left := until - p.Now().Mono
		if left <= 0 {
			return ctx.Err()
		}
		timer.Reset(min(max(p.Took(left), time.Millisecond), nap))
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-timer.C:
		}
	}
}
