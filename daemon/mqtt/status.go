package mqtt

import (
	"cmp"
	"fmt"
	"maps"
	"sync"
	"time"
)

// The labels by which messages are counted.
const (
	directionIn  = "in"
	directionOut = "out"

	resultOK       = "ok"       // acknowledged by the broker; carried out
	resultError    = "error"    // not acknowledged by the broker; dropped without an answer
	resultRejected = "rejected" // a command that was refused or ignored
)

// Count names a counter of messages.
type Count struct {
	Direction string // in, out
	Result    string // ok, error, rejected
}

// Status is the state of the connection and of what waits for it.
type Status struct {
	Connected     bool
	Detail        string   // why not
	Waiting       int      // events, states and answers that the broker does not have
	Dropped       string   // topics whose messages the broker drops, and what to do; empty for none
	Foreign       string   // own topics on which other clients published, and what to do; empty for none
	LightsAway    []string // lights whose own connection is not open, each with the reason
	OtherInstance string   // a duplicate instance of the daemon that is alive; empty for none
	Messages      map[Count]uint64
}

// Status returns the present status. It may be called from any goroutine.
func (p *Publisher) Status() Status {
	s := Status{OtherInstance: p.duplicate.alive(time.Now()), Dropped: p.dropped.text(), Foreign: p.foreign.text(time.Now()), Messages: p.counts.all()}
	epoch, err := p.conn.current()
	s.Connected = epoch != 0
	if !s.Connected && err != nil {
		s.Detail = err.Error()
	}
	p.mu.Lock()
	s.Waiting = p.waiting
	lights := p.lights
	p.mu.Unlock()
	for _, l := range lights {
		if epoch, err := l.conn.current(); epoch == 0 {
			s.LightsAway = append(s.LightsAway, fmt.Sprintf("%s has no connection: %v", l.topic, cmp.Or(err, errNotConnected)))
		}
	}
	return s
}

// Connected reports whether the main connection is open. It may be called from any
// goroutine.
func (p *Publisher) Connected() bool {
	epoch, _ := p.conn.current()
	return epoch != 0
}

// counts counts messages.
type counts struct {
	mu sync.Mutex
	n  map[Count]uint64
}

func (c *counts) add(direction, result string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.n == nil {
		c.n = map[Count]uint64{}
	}
	c.n[Count{direction, result}]++
}

func (c *counts) all() map[Count]uint64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	return maps.Clone(c.n)
}
