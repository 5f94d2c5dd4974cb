// Package neighbours holds what other benches say over MQTT of their presses, for the
// board of this one. It is no part of the bench's state and goes to no journal: when the
// daemon ends it is forgotten, and the broker says it again.
//
// Nothing here looks fresh that is not. A value is believed only if it was heard live,
// and for as long as its sender sends it anew; what a broker had kept may be days old, and
// is shown as unknown with its age until the sender says it again. Ages and ends are kept
// on this bench's own monotonic clock, so that neither its wall clock nor the other's can
// make a batch younger.
package neighbours

import (
	"slices"
	"sync"
	"time"

	"potlifed/model/light"
)

const (
	// mostLights and mostBatches bound what is kept of one bench; the longest unheard
	// makes room.
	mostLights  = 32
	mostBatches = 64

	// silentAfter is how long nothing may come from a bench that sends a sign of life
	// every 30 s.
	silentAfter = 90 * time.Second
	// batchFor is how long a batch is believed; it is sent once a minute at least.
	batchFor = 150 * time.Second
	// lightFor is the longest that a light is believed, whatever its sender says.
	lightFor = 90 * time.Second
)

// Contact is how a bench can be heard.
type Contact string

// The contacts.
const (
	Online   Contact = "online"
	Offline  Contact = "offline"   // it stopped, or the broker says that it is gone
	Silent   Contact = "silent"    // it should have been heard, and was not
	Waiting  Contact = "waiting"   // nothing has been heard of it yet
	NoBroker Contact = "no-broker" // the broker through which it would be heard is away
)

// Store holds the other benches. Its methods may be called from any goroutine; none
// blocks.
type Store struct {
	now func() (wall time.Time, mono time.Duration)

	mu        sync.Mutex // guards all that follows
	benches   []*bench
	connected bool
}

type bench struct {
	id      string
	said    bool // it has said whether it is there
	offline bool
	heard   time.Duration // live, last
	alive   bool          // it has been heard live since it was offline last
	lights  map[string]*lamp
	batches map[string]*batch
}

// received is when something came, and whether it may be believed.
type received struct {
	at    time.Duration // by the monotonic clock
	until time.Duration // believed until then, while live
	live  bool          // heard live, and its bench was not offline since
	kept  bool          // the broker had it from some time before
	said  time.Time     // by its sender's clock
	taken string        // why its sender has taken it back since, empty when it has not
}

type lamp struct {
	received
	press, batch, reason string
	meaning              light.Meaning
	flashing             bool
}

type batch struct {
	received
	row  Batch
	ends *ends
}

// ends are by the monotonic clock.
type ends struct{ expected, low, high time.Duration }

// New makes a store for the given benches. now is the bench's time and its clock's
// monotonic time.
func New(benches []string, now func() (wall time.Time, mono time.Duration)) *Store {
	s := &Store{now: now}
	for _, id := range benches {
		s.benches = append(s.benches, &bench{id: id, lights: map[string]*lamp{}, batches: map[string]*batch{}})
	}
	return s
}

// Contact takes in whether the broker can be reached.
func (s *Store) Contact(up bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.connected = up
}

// Alive takes in a sign of life, heard live.
func (s *Store) Alive(id string) {
	s.with(id, func(b *bench, mono time.Duration) {
		b.offline = false
		b.hear(mono)
	})
}

// Available takes in whether a bench is there, as it or the broker says.
func (s *Store) Available(id string, online, kept bool) {
	s.with(id, func(b *bench, mono time.Duration) {
		if b.said, b.offline = true, !online; b.offline {
			b.alive = false
			b.doubt()
			return
		}
		if !kept {
			b.hear(mono)
		}
	})
}

// Light takes in a light's payload; an empty one ends it.
func (s *Store) Light(id, name string, payload []byte, kept bool) {
	s.with(id, func(b *bench, mono time.Duration) {
		next, ok := readLight(payload, mono)
		if old := b.lights[name]; ok && next.press == "" && old != nil {
			old.takeBack(next.reason, kept)
			return
		}
		take(b, b.lights, mostLights, name, payload, kept, mono, readLight)
	})
}

// Batch takes in a batch's payload; an empty one ends it.
func (s *Store) Batch(id, name string, payload []byte, kept bool) {
	s.with(id, func(b *bench, mono time.Duration) {
		take(b, b.batches, mostBatches, name, payload, kept, mono, func(p []byte, mono time.Duration) (*batch, bool) { return readBatch(name, p, mono) })
	})
}

func (s *Store) with(id string, f func(b *bench, mono time.Duration)) {
	_, mono := s.now()
	s.mu.Lock()
	defer s.mu.Unlock()
	if i := slices.IndexFunc(s.benches, func(b *bench) bool { return b.id == id }); i >= 0 {
		f(s.benches[i], mono)
	}
}

// hear remembers that the bench was heard live.
func (b *bench) hear(mono time.Duration) { b.heard, b.alive = mono, true }

// takeBack ends the belief in what a light said. A will or a stop names no press: it is the
// last word of who does not know any more, and no sign of life. What was said before it
// stays, to be shown with its age.
func (r *received) takeBack(why string, kept bool) {
	if !kept || !r.live {
		r.live, r.taken = false, why
	}
}

// doubt takes the belief from everything that a bench has said.
func (b *bench) doubt() {
	for _, l := range b.lights {
		l.live = false
	}
	for _, x := range b.batches {
		x.live = false
	}
}

// dated is something that was received.
type dated interface{ receipt() *received }

func (r *received) receipt() *received { return r }

// take keeps, replaces or ends one thing of a bench. What the broker had kept never takes
// the place of what was heard live.
func take[T dated](b *bench, all map[string]T, most int, name string, payload []byte, kept bool, mono time.Duration,
	read func([]byte, time.Duration) (T, bool)) {
	if !idShape.MatchString(name) {
		return
	}
	if len(payload) == 0 {
		delete(all, name)
		return
	}
	next, ok := read(payload, mono)
	if !ok {
		return
	}
	r := next.receipt()
	if !kept && r.until > mono { // what is not valid for any time is a will or a farewell
		b.hear(mono)
	}
	r.live, r.kept = !kept, kept
	old, there := all[name]
	if there && kept && old.receipt().live {
		return
	}
	if !there && len(all) >= most {
		delete(all, longestUnheard(all))
	}
	all[name] = next
}

func longestUnheard[T dated](all map[string]T) string {
	oldest := ""
	for name, x := range all {
		if oldest == "" || older(x.receipt(), all[oldest].receipt()) {
			oldest = name
		}
	}
	return oldest
}

func older(a, b *received) bool {
	if a.live != b.live {
		return b.live
	}
	return a.at < b.at
}

func (b *bench) contact(connected bool, mono time.Duration) Contact {
	switch {
	case !connected:
		return NoBroker
	case b.offline:
		return Offline
	case !b.alive && !b.said:
		return Waiting
	case !b.alive || mono-b.heard > silentAfter:
		return Silent
	}
	return Online
}
