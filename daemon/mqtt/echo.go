package mqtt

import (
	"bytes"
	"sync"

	"potlifed/daemon/view"
)

// echo waits until the broker has delivered a portion of events back. A broker of MQTT 3.1.1
// cannot refuse a message: one with access rules acknowledges what it drops (3.3.5). An event
// therefore counts as delivered when the broker has delivered it, to us as to every reader,
// and not when it was acknowledged.
//
// It holds one portion at most. An event is recognised by its whole text, which is unique,
// since it contains journal and number.
type echo struct {
	mu      sync.Mutex
	events  []view.Event
	arrived []bool // by event
	missing int    // how many have not arrived
}

// expect begins to wait for these events, and for no others.
func (e *echo) expect(events []view.Event) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.events, e.arrived, e.missing = events, make([]bool, len(events)), len(events)
}

// received takes a message from the events' topic and reports whether it was the last one
// expected. It may be called from any goroutine.
func (e *echo) received(payload []byte) (all bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for i, event := range e.events {
		if !e.arrived[i] && bytes.Equal(event.JSON, payload) {
			e.arrived[i] = true
			e.missing--
			return e.missing == 0
		}
	}
	return false
}

// truncate stops waiting for all but the first n events.
func (e *echo) truncate(n int) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.events, e.arrived, e.missing = e.events[:n], e.arrived[:n], 0
	for _, arrived := range e.arrived {
		if !arrived {
			e.missing++
		}
	}
}

// settle removes the events that have arrived, up to the first that has not, and returns
// them and the rest.
func (e *echo) settle() (arrived, rest []view.Event) {
	e.mu.Lock()
	defer e.mu.Unlock()
	n := 0
	for n < len(e.events) && e.arrived[n] {
		n++
	}
	arrived, rest = e.events[:n], e.events[n:]
	e.events, e.arrived = rest, e.arrived[n:]
	return arrived, rest
}
