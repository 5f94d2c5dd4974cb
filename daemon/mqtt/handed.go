package mqtt

import (
	"bytes"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"
)

// shown is what a light was told last, until it has come back from the broker: a lamp
// whose topic the broker throws away would keep what it shows.
type shown struct {
	mu      sync.Mutex
	payload []byte
	waits   bool
	since   time.Time // when the first of what has not come back was sent
}

// expect begins to wait for a payload, in place of the one before.
func (s *shown) expect(payload []byte, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.waits {
		s.since = now
	}
	s.payload, s.waits = payload, true
}

// forget waits for nothing: what was sent was lost with its connection.
func (s *shown) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.waits = false
}

// hear takes a message from the light's topic and reports whether it is the one.
func (s *shown) hear(payload []byte) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.waits || !bytes.Equal(payload, s.payload) {
		return false
	}
	s.waits = false
	return true
}

// late reports whether the payload should have come back by now.
func (s *shown) late(now time.Time, patience time.Duration) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.waits && now.Sub(s.since) >= patience
}

// handed looks, once with each connection, whether the broker hands out each kind of
// state. That one of a kind comes back is enough; then the kind's subscription is given
// up again, for what we publish ourselves is nothing to listen to.
type handed struct {
	mu    sync.Mutex
	since map[string]time.Time // by kind, of the first that was sent
	back  map[string]bool      // by kind
}

// again begins anew: another connection, and perhaps another broker.
func (h *handed) again() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.since, h.back = map[string]time.Time{}, map[string]bool{}
}

// sent takes a message that the broker acknowledged.
func (h *handed) sent(kind string, now time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, ok := h.since[kind]; !ok && kind != "" {
		h.since[kind] = now
	}
}

// hear takes a kind of which a message has come back.
func (h *handed) hear(kind string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.back != nil && kind != "" {
		h.back[kind] = true
	}
}

// missing reports whether a kind should have come back by now and has not.
func (h *handed) missing(kind string, now time.Time, patience time.Duration) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	since, sent := h.since[kind]
	return sent && !h.back[kind] && now.Sub(since) >= patience
}

// kinds returns those of which something has come back, and those of which something
// should have by now.
func (h *handed) kinds(now time.Time, patience time.Duration) (back, late []string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for kind, since := range h.since {
		if !h.back[kind] && now.Sub(since) >= patience {
			late = append(late, kind)
		}
	}
	return slices.Collect(maps.Keys(h.back)), late
}

// stateKinds are the kinds of state that are looked for, and the filter of each.
// Answers to commands are looked for like them.
func (t Topics) stateKinds() map[string]string {
	return map[string]string{
		wordAvailability: t.Availability(), wordDaemon: t.Daemon(),
		wordAir: t.Air("+"), wordScale: t.Scale("+"), wordBatch: t.Batch("+"),
		wordSensor: t.Sensor("+"), wordAlarm: t.Alarm("+", "+"), wordDone: t.Done("+"),
	}
}

// stateKind is the kind of a state's topic, empty for another topic.
func (t Topics) stateKind(topic string) string {
	path, ok := strings.CutPrefix(topic, t.root)
	kind, _, _ := strings.Cut(path, "/")
	switch kind {
	case wordAvailability, wordDaemon, wordAir, wordScale, wordBatch, wordSensor, wordAlarm, wordDone:
		if ok {
			return kind
		}
	}
	return ""
}

// lookBack sees which kinds of state the broker hands out, and stops listening to
// those that it does, and to what it held from before.
func (p *Publisher) lookBack(now time.Time) {
	back, late := p.handed.kinds(now, p.outbox.patience)
	filters := p.topics.stateKinds()
	for _, kind := range late {
		p.swallowed.set(filters[kind], true)
	}
	over := now.Sub(p.since) >= sweepFor
	var heard []string
	for _, kind := range back {
		p.swallowed.set(filters[kind], false)
		if over && !p.deaf[kind] && kind != wordDaemon { // on which another instance may speak
			p.deaf[kind] = true
			heard = append(heard, filters[kind])
		}
	}
	if over && !p.swept {
		p.swept = true
		heard = append(heard, p.topics.lights()...)
	}
	if len(heard) > 0 {
		p.conn.unsubscribe(heard)
	}
}
