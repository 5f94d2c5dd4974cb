// Package neighbours stores what other benches publish of their presses over MQTT, for the
// board of this bench. It is not part of the bench's state and is not journalled: it is lost
// when the daemon ends, and the broker sends it again.
//
// A value that may be old never looks current. A value is trusted only if it was received
// live, and only for as long as its sender repeats it. A retained message may be days old: it
// is shown as unknown, with its age, until the sender publishes it again. Ages and ends are
// kept on this bench's monotonic clock, so that no wall clock, its own or the other's, can make
// a batch younger.
package neighbours

import (
	"slices"
	"sync"
	"time"

	"potlifed/model/light"
)

const (
	// maxLights and maxBatches bound what is stored of one bench; a further one replaces
	// the one that was received longest ago.
	maxLights  = 32
	maxBatches = 64

	// silentAfter is how long a bench may send nothing; it sends a sign of life every 30 s.
	silentAfter = 90 * time.Second
	// batchFor is how long a batch is trusted; it is sent once a minute at least.
	batchFor = 150 * time.Second
	// maxLightFor is the longest time for which a light is trusted, whatever validity its
	// sender gives.
	maxLightFor = 90 * time.Second
)

// Contact is whether a bench can be reached.
type Contact string

// The contacts.
const (
	Online   Contact = "online"
	Offline  Contact = "offline"   // it stopped, or the broker says that its connection is lost
	Silent   Contact = "silent"    // it has sent nothing for longer than silentAfter
	Waiting  Contact = "waiting"   // nothing has been received of it yet
	NoBroker Contact = "no-broker" // there is no connection to the broker
)

// Store stores what is known of other benches. Its methods may be called from any goroutine
// and do not block.
type Store struct {
	now func() (wall time.Time, mono time.Duration)

	mu        sync.Mutex // guards all that follows
	benches   []*bench
	connected bool
}

type bench struct {
	id        string
	announced bool // it has published whether it is online
	offline   bool
	liveAt    time.Duration // when it last sent something live
	alive     bool          // it has sent something live since it was last offline
	lights    map[string]*lightState
	batches   map[string]*batchState
}

// received says when a state was received and whether it may be trusted.
type received struct {
	at       time.Duration // by the monotonic clock
	until    time.Duration // trusted until then, if live
	live     bool          // received live, and its bench was not offline since
	retained bool          // the broker had stored it at some time before
	sentAt   time.Time     // by its sender's clock
	revoked  string        // why its sender has revoked it, empty where it has not
}

// lightState is the last state of a light.
type lightState struct {
	received
	press, batch, reason string
	meaning              light.Meaning
	cause                light.Cause
	flashing             bool
}

// batchState is the last state of a batch.
type batchState struct {
	received
	row  Batch
	ends *ends
}

// ends are the ends of a batch's pot life by the monotonic clock.
type ends struct{ expected, low, high time.Duration }

// New returns a store for the given benches. now returns the time of this bench and the
// monotonic time of its clock.
func New(benches []string, now func() (wall time.Time, mono time.Duration)) *Store {
	s := &Store{now: now}
	for _, id := range benches {
		s.benches = append(s.benches, &bench{id: id, lights: map[string]*lightState{}, batches: map[string]*batchState{}})
	}
	return s
}

// Contact receives whether there is a connection to the broker.
func (s *Store) Contact(up bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.connected = up
}

// Alive receives that a bench has sent a sign of life just now.
func (s *Store) Alive(id string) {
	s.with(id, func(b *bench, mono time.Duration) {
		b.offline = false
		b.sawLive(mono)
	})
}

// Available receives whether a bench is online, as it or the broker says. With retained, the
// broker had stored the message at some time before; likewise below.
func (s *Store) Available(id string, online, retained bool) {
	s.with(id, func(b *bench, mono time.Duration) {
		if b.announced, b.offline = true, !online; b.offline {
			b.alive = false
			b.distrust()
			return
		}
		if !retained {
			b.sawLive(mono)
		}
	})
}

// Light receives a light's payload; an empty one ends the light.
func (s *Store) Light(id, name string, payload []byte, retained bool) {
	s.with(id, func(b *bench, mono time.Duration) {
		next, ok := readLight(payload, mono)
		if old := b.lights[name]; ok && next.press == "" && old != nil {
			old.revoke(next.reason, retained)
			return
		}
		store(b, b.lights, maxLights, name, payload, retained, mono, readLight)
	})
}

// Batch receives a batch's payload; an empty one ends the batch.
func (s *Store) Batch(id, name string, payload []byte, retained bool) {
	s.with(id, func(b *bench, mono time.Duration) {
		store(b, b.batches, maxBatches, name, payload, retained, mono, func(p []byte, mono time.Duration) (*batchState, bool) { return readBatch(name, p, mono) })
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

// sawLive records that the bench has sent something live.
func (b *bench) sawLive(mono time.Duration) { b.liveAt, b.alive = mono, true }

// revoke ends the trust in a light's state. A will, or the last message of a stop, names no
// press: its sender no longer knows the meaning, and it is no sign of life. The state before
// it stays, to be shown with its age.
func (r *received) revoke(why string, retained bool) {
	if !retained || !r.live {
		r.live, r.revoked = false, why
	}
}

// distrust ends the trust in everything that a bench has sent.
func (b *bench) distrust() {
	for _, l := range b.lights {
		l.live = false
	}
	for _, x := range b.batches {
		x.live = false
	}
}

// state is a lightState or a batchState.
type state interface{ receipt() *received }

func (r *received) receipt() *received { return r }

// store adds, replaces or ends one state of a bench. A retained message never replaces a live
// one.
func store[T state](b *bench, all map[string]T, limit int, name string, payload []byte, retained bool, mono time.Duration,
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
	if !retained && r.until > mono { // one that is never valid is a will or the last message of a stop
		b.sawLive(mono)
	}
	r.live, r.retained = !retained, retained
	old, found := all[name]
	if found && retained && old.receipt().live {
		return
	}
	if !found && len(all) >= limit {
		delete(all, oldest(all))
	}
	all[name] = next
}

// oldest returns the name of the state that was received longest ago, of one that is not live
// if there is any.
func oldest[T state](all map[string]T) string {
	first := ""
	for name, x := range all {
		if first == "" || older(x.receipt(), all[first].receipt()) {
			first = name
		}
	}
	return first
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
	case !b.alive && !b.announced:
		return Waiting
	case !b.alive || mono-b.liveAt > silentAfter:
		return Silent
	}
	return Online
}
