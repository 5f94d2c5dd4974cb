// Package pace makes long computations leave their processor to others at short intervals.
package pace

import (
	"context"
	"time"
)

const (
	// work is how long a computation runs at a stretch.
	work = time.Millisecond
	// rest is how long it then waits, at least.
	rest = time.Millisecond
)

// Pace divides a computation into slices of about a millisecond with a wait of at least a millisecond
// after each, so it takes half a processor and twice as long. It is used by one goroutine.
//
// The wait is on a timer, because runtime.Gosched is not enough. With as many goroutines that compute as
// there are processors, one that yields is found again in the queue before the scheduler asks the network
// or takes over what waits on a processor in a system call; both are then left to the runtime's monitor,
// which looks every 10 ms.
type Pace struct {
	ctx   context.Context
	timer *time.Timer
	began time.Time
}

// New returns the pace of a computation that begins now. After the end of ctx it waits no more.
func New(ctx context.Context) *Pace {
	return &Pace{ctx: ctx, began: time.Now()}
}

// Pause waits if the computation has run for a slice since the last wait. Called more often than once a slice,
// it costs little.
func (p *Pace) Pause() {
	if time.Since(p.began) < work || p.ctx.Err() != nil {
		return
	}
	if p.timer == nil {
		p.timer = time.NewTimer(rest)
	} else {
		p.timer.Reset(rest)
	}
	select {
	case <-p.timer.C:
	case <-p.ctx.Done():
		p.timer.Stop()
	}
	p.began = time.Now()
}
