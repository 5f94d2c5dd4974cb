package mqtt

import (
	"bytes"
	"sync"

	"potlifed/daemon/view"
)

// echo waits for a portion of events to come back from the broker. A broker of MQTT
// 3.1.1 has no word for "you may not": one with rights acknowledges what it throws
// away (3.3.5). That an event was delivered is therefore believed when the broker has
// handed it out, to us as to every reader, and not when it was acknowledged.
//
// It holds one portion at most. An event is known by its whole text, which no two
// share, since journal and number are in it.
type echo struct {
	mu     sync.Mutex
	events []view.Event
	back   []bool // events[i] has come back
	left   int    // how many have not
}

// expect begins to wait for events, and for nothing else.
func (e *echo) expect(events []view.Event) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.events, e.back, e.left = events, make([]bool, len(events)), len(events)
}

// hear takes a message from the events' topic and reports whether it was the last one
// waited for. It may be called from any goroutine.
func (e *echo) hear(payload []byte) (all bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for i, event := range e.events {
		if !e.back[i] && bytes.Equal(event.JSON, payload) {
			e.back[i] = true
			e.left--
			return e.left == 0
		}
	}
	return false
}

// keep gives up waiting for all but the first n events.
func (e *echo) keep(n int) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.events, e.back, e.left = e.events[:n], e.back[:n], 0
	for _, back := range e.back {
		if !back {
			e.left++
		}
	}
}

// settle takes out what has come back from the first event on, and returns it and what
// is still waited for.
func (e *echo) settle() (back, rest []view.Event) {
	e.mu.Lock()
	defer e.mu.Unlock()
	n := 0
	for n < len(e.events) && e.back[n] {
		n++
	}
	back, rest = e.events[:n], e.events[n:]
	e.events, e.back = rest, e.back[n:]
	return back, rest
}
