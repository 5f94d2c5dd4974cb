package web

import (
	"slices"
	"sync"
	"time"

	"potlifed/daemon/neighbours"
	"potlifed/daemon/view"
)

// feed is what the readers of the stream are sent. What has changed, and its JSON, is found once for all
// of them: with 200 pages and 500 open batches each reader by itself would compare a hundred
// thousand rows ten times a second. A reader that was busy gets the newest version of each row
// that it has not had, and not what it missed.
type feed struct {
	mu     sync.Mutex // guards what follows
	had    *follower  // what was news so far
	snap   *view.Snapshot
	scaled *view.Snapshot // the snapshot whose weights were taken last
	scales changes
	rest   changes
	whole  whole
}

// whole is what a reader that has just come is sent: all rows as they were a moment ago. What has changed
// since then it gets like every other reader. After a restart 200 pages come at once, and all rows
// of 500 batches are 700 kB.
type whole struct {
	at     time.Duration // monotonic time of the snapshot
	data   []byte        // nil for none; never written to
	cursor cursor
}

// wholeFor is how long all rows are kept for readers that come.
const wholeFor = 250 * time.Millisecond

func newFeed() *feed { return &feed{had: newFollower()} }

// cursor is how far one reader of a feed has come.
type cursor struct {
	begun        bool
	scales, rest uint64 // the newest changes that it has had
}

// burst returns the events that bring a reader to a snapshot, or to a newer one that another reader has
// come with.
func (f *feed) burst(r *cursor, n *view.Snapshot, others []neighbours.Bench) []byte {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.snap == nil || n != f.snap && n.Mono >= f.snap.Mono {
		f.snap = n
		f.weigh(n)
		for _, e := range append(f.had.zones(n), f.had.rows(n, others)...) {
			f.rest.add(e, n.Mono)
		}
	}
	was, all := *r, []byte(nil)
	if !was.begun {
		was, all = f.all(others)
	}
	*r = cursor{begun: true, scales: f.scales.newest, rest: f.rest.newest}
	return slices.Concat(all, f.scales.since(was.scales), f.rest.since(was.rest))
}

// all returns all rows, and how far a reader has come with them.
func (f *feed) all(others []neighbours.Bench) (cursor, []byte) {
	if w := &f.whole; w.data == nil || f.snap.Mono-w.at >= wholeFor {
		*w = whole{at: f.snap.Mono, data: joined(newFollower().burst(f.snap, others)), cursor: cursor{scales: f.scales.newest, rest: f.rest.newest}}
		if f.scaled != f.snap { // a reader has come with newer weights
			w.cursor.scales = 0
		}
	}
	return f.whole.cursor, f.whole.data
}

// weights returns what the scales show, if the reader has not had it.
func (f *feed) weights(r *cursor, n *view.Snapshot) []byte {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.weigh(n)
	was := r.scales
	r.scales = f.scales.newest
	return f.scales.since(was)
}

// weigh takes in the weights of a snapshot.
func (f *feed) weigh(n *view.Snapshot) {
	if f.scaled == n || f.scaled != nil && n.Mono < f.scaled.Mono {
		return
	}
	f.scaled = n
	for _, e := range f.had.weights(n) {
		f.scales.add(e, n.Mono)
	}
}

// event is one event of the stream.
type event struct {
	key  string // kind and id of the row
	data []byte
	gone bool // the row is there no more
}

func joined(events []event) []byte {
	var out []byte
	for _, e := range events {
		out = append(out, e.data...)
	}
	return out
}

// changes are the events with the newest version of each row, in the order in which they came.
type changes struct {
	newest uint64
	latest map[string]*change
	order  []*change // those that a later one has replaced stay until they are half of all
}

type change struct {
	event
	number   uint64
	at       time.Duration // monotonic time of the snapshot
	replaced bool
}

// goneFor is how long the end of a row is kept. A reader is given up long before that when it takes
// nothing.
const goneFor = time.Minute

func (c *changes) add(e event, at time.Duration) {
	if c.latest == nil {
		c.latest = map[string]*change{}
	}
	if was := c.latest[e.key]; was != nil {
		was.replaced, was.data = true, nil
	}
	c.newest++
	is := &change{event: e, number: c.newest, at: at}
	c.latest[e.key], c.order = is, append(c.order, is)
	if len(c.order) <= 2*len(c.latest)+16 {
		return
	}
	for key, x := range c.latest {
		if x.gone && at-x.at > goneFor {
			x.replaced = true
			delete(c.latest, key)
		}
	}
	c.order = slices.DeleteFunc(c.order, func(x *change) bool { return x.replaced })
}

// since returns the events after the given number. Of a row that came and went since then, the reader
// is told the end alone.
func (c *changes) since(number uint64) []byte {
	i := len(c.order)
	for i > 0 && c.order[i-1].number > number {
		i--
	}
	var out []byte
	for _, x := range c.order[i:] {
		if !x.replaced {
			out = append(out, x.data...)
		}
	}
	return out
}
