// Package bench is the one loop: readings, requests and a tick come in by channel;
// it decides, applies what was decided to the state, hands records to the journal's
// writer, and publishes a snapshot.
//
// One goroutine ([Bench.Run]) touches the state. A caller of
// [Bench.Do] gets the answer when the change is on disk. Readers take the newest
// [Bench.Snapshot]; a slow one costs the loop nothing.
package bench

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"slices"
	"sync/atomic"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/airpath"
	"potlifed/model/light"
)

// Bench is the loop with what it knows.
type Bench struct {
	shop       catalogue
	clock      benchClock
	journal    Journal
	log        *slog.Logger
	publishing func() Publishing
	version    string

	readShop     func() (config.Shop, error)
	reconfigured func(config.Shop)
	reading      chan struct{}             // holds a token while the configuration is reloaded
	offered      atomic.Pointer[catalogue] // for other goroutines: never written to once it is here

	useWithinOpened map[string]time.Duration // of hardeners, by id

	in         chan input
	ended      chan struct{} // closed when the loop has ended
	snap       atomic.Pointer[view.Snapshot]
	watch      watchers
	lightWatch watchers // of the lights
	// writing is when the group under way was sent to the journal, in CLOCK_BOOTTIME; 0 for none.
	writing atomic.Int64

	// What follows is the loop's alone.
	instance string
	// begun is the number of this run's first event. What is shown until it is on disk
	// does not know of the gap before the start: no light may be claimed by it.
	begun        uint64
	state        record.State // the newest
	keys         keys
	write        pipeline
	zones        map[string]*zone
	zoneIDs      []string // of zones, sorted
	sensors      map[string]*sensor
	scales       map[string]*scale
	followers    map[string]*follower
	lightReports map[string]light.Report // of lamps that report back, by light
	lives        map[string]airpath.Life // what was last derived from batches, by id
	unforeseen   map[string]bool         // ids of batches of which a forecast is due
	rows         rows                    // of the last snapshot
	watched      map[record.AlarmKey]watched
	promises     map[string]promise      // the ends last expected of batches, by id
	conditions   map[string][]conditions // of the last minutes, by press
	takenOff     map[string]takenOff     // what was last taken off in this run, by press
	checked      time.Duration           // CLOCK_BOOTTIME of the last checkpoint
	dirty        bool                    // something but readings has changed since the last snapshot
	relight      bool                    // a sensor was read since the last snapshot, or could not be
}

// New makes a bench from the journal's state. Run starts it.
func New(ctx context.Context, s Settings) (*Bench, error) {
	state, err := s.Journal.Load(ctx)
	if err != nil {
		return nil, err
	}
	b := &Bench{
		shop: newCatalogue(s.Shop), clock: benchClock{real: s.Clock}, journal: s.Journal, log: s.Log, publishing: s.Publishing, version: s.Version,
		in: make(chan input, 256), ended: make(chan struct{}), state: state,
		zones: map[string]*zone{}, sensors: map[string]*sensor{}, scales: map[string]*scale{}, lives: map[string]airpath.Life{}, unforeseen: map[string]bool{},
		useWithinOpened: useWithinOpened(s.Shop),
		lightReports:    map[string]light.Report{},
		watched:         map[record.AlarmKey]watched{}, promises: map[string]promise{}, conditions: map[string][]conditions{}, takenOff: map[string]takenOff{},
	}
	if b.publishing == nil {
		b.publishing = func() Publishing { return Publishing{} }
	}
	b.keys, b.rows.made = newKeys(), map[string]*madeRow{}
	b.readShop, b.reconfigured, b.reading = s.ReadShop, s.Reconfigured, make(chan struct{}, 1)
	b.offer()
	b.write.shown = state
	b.write.durable = state
	for _, id := range b.shop.zones() {
		b.zones[id] = &zone{id: id}
	}
	b.zoneIDs = slices.Sorted(maps.Keys(b.zones))
	for _, c := range s.Shop.Sensors {
		b.sensors[c.ID] = &sensor{Sensor: c, clock: s.Clock, words: b.shop.locale}
		z := b.zones[c.Zone]
		z.sensors = append(z.sensors, b.sensors[c.ID])
	}
	for _, c := range s.Shop.Scales {
		b.scales[c.ID] = newScale(c, s.Clock, b.shop.locale)
	}
	b.refitFollowers()
	b.begin()
	if err := b.rememberKeys(ctx, b.clock.now()); err != nil {
		return nil, err
	}
	return b, nil
}

// tick is how often the loop looks at the time: often enough that nothing that is
// shown is a second old when it is read.
const tick = 500 * time.Millisecond

// Run is the loop. It returns when ctx is done and what was decided is on disk, or
// cannot be brought there.
func (b *Bench) Run(ctx context.Context) error {
	defer close(b.ended)
	timer := time.NewTimer(clock.Real(b.clock.real, tick))
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return b.stop()
		case in := <-b.in:
			in.enter(b, b.clock.now())
			b.drain()
		case <-timer.C:
			b.tick(b.clock.now())
			timer.Reset(clock.Real(b.clock.real, tick))
		case err, written := <-b.journal.Acks():
			if !written {
				return b.stop()
			}
			b.acknowledged(err)
		case <-b.forecastsDue():
			if !b.foresee() {
				continue
			}
		}
		b.flush()
		b.publish(b.clock.now())
	}
}

// drain takes in what else is waiting, so that a burst of lines makes one snapshot.
func (b *Bench) drain() {
	for range cap(b.in) {
		select {
		case in := <-b.in:
			in.enter(b, b.clock.now())
		default:
			return
		}
	}
}

// tick does what time alone makes due.
func (b *Bench) tick(now time.Time) {
	b.dirty = true
	now = b.watchClock(now)
	b.rows.at = now
	b.closeLost(now)
	b.closeMinutes(now)
	b.closeMinutesOfCounts(now)
	b.noteMinute(now)
	b.followBatches(now)
	b.endRests(now)
	b.endDays(now)
	b.askAlarms(now)
	if mono := b.clock.mono(); mono-b.checked >= checkpointEvery || b.write.since >= checkpointAfter {
		b.write.checkpoint = true
		b.checked = mono
	}
}

// A checkpoint is taken every hour, and earlier after so many records: it writes the whole state, twice,
// and a start reads the records since then. With three zones and presses that report once a minute
// an hour has six hundred.
const (
	checkpointEvery = time.Hour
	checkpointAfter = 2000
)

// errJournalEnded: what was decided last is not on disk, and will not be.
var errJournalEnded = errors.New("the journal has ended before the bench")

// stop closes the run in good order: open steps, a Stopped event and a checkpoint. It
// fails when these cannot be written.
func (b *Bench) stop() error {
	now := b.clock.now()
	for _, z := range b.zones {
		b.closeAir(z.id, now)
	}
	b.closeTallies(now)
	b.decide(now, actor.Bench, record.Stopped{})
	b.write.checkpoint = true
	b.write.retryAt = 0
	var failed error
	for b.write.busy() && failed == nil {
		b.flush()
		var written bool
		if failed, written = <-b.journal.Acks(); !written {
			failed = errJournalEnded
		}
		b.acknowledged(failed)
	}
	for _, w := range b.write.waiting() {
		w.refuse(b.shop.asRefusal(request.Refuse(request.Unavailable, "stopping", "the daemon is stopping; ask again when it is back")))
	}
	return failed
}

// Snapshot returns the newest snapshot. It is never nil.
func (b *Bench) Snapshot() *view.Snapshot { return b.snap.Load() }

// Writing returns for how long the journal has been writing a group of records; 0 while it
// writes none. Any goroutine may call it.
func (b *Bench) Writing() time.Duration {
	since := time.Duration(b.writing.Load())
	if since == 0 {
		return 0
	}
	return b.clock.mono() - since
}

// Watch returns a channel that gets a signal after each new snapshot; signals that
// nobody waits for are folded into one. stop ends it.
func (b *Bench) Watch() (signal <-chan struct{}, stop func()) { return b.watch.add() }

// WatchLights returns a channel like that of [Bench.Watch], for those who send the lights. It gets its
// signal first, and also after a snapshot in which nothing but the lights is new.
func (b *Bench) WatchLights() (signal <-chan struct{}, stop func()) { return b.lightWatch.add() }

// Do asks for a change and waits until it is on disk. The error is a
// [*record.Refusal] when the change was not made.
func (b *Bench) Do(ctx context.Context, r request.Request) (request.Reply, error) {
	if _, is := r.Change.(request.ReloadConfiguration); is {
		select {
		case b.reading <- struct{}{}: // of two at once, the later one reads later
		case <-ctx.Done():
			return request.Reply{}, ctx.Err()
		}
		defer func() { <-b.reading }()
		change, err := b.readAnew()
		if err != nil {
			return request.Reply{}, err
		}
		r.Change = change
	}
	w := &waiter{request: r, answer: make(chan answer, 1)}
	select {
	case b.in <- w:
	case <-ctx.Done():
		return request.Reply{}, ctx.Err()
	case <-b.ended:
		return request.Reply{}, request.Refuse(request.Unavailable, "stopped", "the daemon has stopped")
	}
	select {
	case a := <-w.answer:
		return b.whole(ctx, a)
	case <-ctx.Done():
		return request.Reply{}, ctx.Err()
	case <-b.ended:
		select {
		case a := <-w.answer:
			return b.whole(ctx, a)
		default:
			return request.Reply{}, request.Refuse(request.Unavailable, "stopped", "the daemon has stopped")
		}
	}
}
