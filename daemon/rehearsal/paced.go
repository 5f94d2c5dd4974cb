package rehearsal

import (
	"context"
	"fmt"
	"sync"
	"time"

	"potlifed/daemon/clock"
)

// stride is the largest time by which the clock advances between two calls. The service reads
// the clock many times a second, so this matters only when the whole program was stopped for a
// moment. At sixty times the speed, a fifth of a second on a busy computer would otherwise look
// like a scale that was silent for twelve seconds. The time lapse becomes slower instead.
const stride = 5 * time.Second

// Paced is a clock that runs faster than real time, at a speed that can be changed. Wall clock
// and monotonic time advance together, without a jump and never backwards. The clock counts as a
// boot of its own. It may be used from any goroutine.
type Paced struct {
	fastest float64
	began   clock.Instant
	real    func() time.Duration // the real time that has passed

	mu    sync.Mutex
	speed float64
	seen  time.Duration // real, at the last call
	gone  time.Duration // the time that has passed on this clock since its start
}

var _ clock.Clock = (*Paced)(nil)

// NewPaced returns a clock that starts at the present time with natural speed. fastest, 1 or
// more, is the highest speed that SetSpeed accepts.
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

// Now returns the present instant of this clock.
func (p *Paced) Now() clock.Instant {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.look()
	now := p.began
	now.Wall, now.Mono = now.Wall.Add(p.gone), now.Mono+p.gone
	return now
}

// look updates the clock; mu is held.
func (p *Paced) look() {
	seen := p.real()
	p.gone += min(max(time.Duration(float64(seen-p.seen)*p.speed), 0), stride)
	p.seen = seen
}

// SetSpeed sets how many times faster than real time the clock runs from now on. A higher speed
// than that of NewPaced is reduced to it.
func (p *Paced) SetSpeed(speed float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.look()
	p.speed = min(max(speed, 0), p.fastest)
}

// Real returns how long to wait in real time for d to pass at the highest speed. At a lower
// speed the wait is too short. A wait that began at natural speed may end in the time lapse, and
// a longer wait would leave a sensor that is read every ten seconds unread for ten minutes.
func (p *Paced) Real(d time.Duration) time.Duration {
	return time.Duration(float64(d) / p.fastest)
}

// Took returns how long something took in real time that took d by this clock, at the present
// speed.
func (p *Paced) Took(d time.Duration) time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.speed == 0 {
		return d
	}
	return time.Duration(float64(d) / p.speed)
}

// Lapse returns how far the clock advances during d of real time, at the present speed.
func (p *Paced) Lapse(d time.Duration) time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	return time.Duration(float64(d) * max(p.speed, 1))
}

// nap limits how long Wait sleeps before it reads the clock again: the speed may have changed.
const nap = 50 * time.Millisecond

// Wait waits until the clock has advanced by d, even if its speed changes.
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
