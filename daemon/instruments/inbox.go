package instruments

import (
	"context"
	"sync"
	"time"

	"potlifed/daemon/clock"
	"potlifed/devices/link"
)

// inbox is the newest value that came from an instrument that sends by itself. Its methods may be
// called from any goroutine.
type inbox[V any] struct {
	mu     sync.Mutex // guards what follows
	good   *V
	bad    error         // of what came since the last value
	link   error         // why there is no connection, nil while there is one
	at     time.Duration // of good, on the clock
	signal chan struct{} // capacity 1: something good came
}

func newInbox[V any]() *inbox[V] { return &inbox[V]{signal: make(chan struct{}, 1)} }

// put takes in a value that was measured at a time, or why there is none.
func (i *inbox[V]) put(v V, at time.Duration, err error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	if err != nil {
		i.bad = err
		return
	}
	i.good, i.at, i.bad = &v, at, nil
	select {
	case i.signal <- struct{}{}:
	default:
	}
}

// connected takes in the state of the connection.
func (i *inbox[V]) connected(err error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.link = err
}

// changed takes in a change of a port's connection.
func (i *inbox[V]) changed(change link.Change) {
	switch change.Kind {
	case link.Failed, link.Lost:
		i.connected(change.Err)
	case link.Connected, link.Speaking:
		i.connected(nil)
	}
}

// take returns the newest value and when it was measured; without a value, the fault. There is
// neither while an instrument that is connected says nothing: its silence shows in the age of its
// last value.
func (i *inbox[V]) take() (v V, at time.Duration, err error, something bool) {
	i.mu.Lock()
	defer i.mu.Unlock()
	switch {
	case i.good != nil:
		v, at = *i.good, i.at
		i.good = nil
		return v, at, nil, true
	case i.link != nil:
		return v, 0, i.link, true
	case i.bad != nil:
		err, i.bad = i.bad, nil
		return v, 0, err, true
	}
	return v, 0, nil, false
}

// pass hands on what comes into an inbox until ctx ends: good values as they come, but not closer
// than pace; faults once in every interval, as long as they last.
func pass[V any](ctx context.Context, c clock.Clock, in *inbox[V], every, pace time.Duration, hand func(v V, at time.Duration, err error)) {
	timer := time.NewTimer(clock.Real(c, every))
	defer timer.Stop()
	last := time.Duration(-1)
	for {
		came := false
		select {
		case <-ctx.Done():
			return
		case <-in.signal:
			came = true
		case <-timer.C:
		}
		// A message that was measured before the last one, such as a retained one, says nothing.
		if v, at, err, something := in.take(); something && ctx.Err() == nil && (err != nil || at > last) {
			if err == nil {
				last = at
			}
			hand(v, at, err)
		}
		if came { // what comes meanwhile waits in the inbox
			timer.Reset(clock.Real(c, pace))
			select {
			case <-ctx.Done():
				return
			case <-timer.C:
			}
		}
		timer.Reset(clock.Real(c, every))
	}
}
