package rehearsal

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

const (
	// wireSnapshotEvery is how often a wire bench has a new snapshot; every second one has an event and
	// another air. With what is repeated anyway, that makes the 0.6 messages a second of a real bench.
	wireSnapshotEvery = 5 * time.Second
	wireBatches       = 3
)

// wireBench sends what a bench sends, through the service's own MQTT client with its six connections,
// and has nothing behind it: no service, no journal, no instrument. A thousand of them fit into a
// process.
type wireBench struct {
	id, journal string
	clock       clock.Clock
	publisher   *mqtt.Publisher
	random      *rand.Rand

	resting  atomic.Bool // it has no more events
	mu       sync.Mutex  // guards what follows
	snap     *view.Snapshot
	watchers []chan struct{}
	events   []view.Event // those after the cursor
	cursor   uint64
}

func newWireBench(o PlantOptions, access mqtt.Settings, c clock.Clock, number int) *wireBench {
	b := &wireBench{
		id: fmt.Sprintf("bench-%d", number), journal: fmt.Sprintf("wire-%d", time.Now().UnixNano()),
		clock: c, random: rand.New(rand.NewPCG(o.Seed, uint64(number))),
	}
	b.turn(50, false)
	s := access
	s.Prefix, s.Bench, s.Machine, s.Spread = o.Prefix, b.id, "plantload", mqtt.ReconnectSpread
	s.Lights = []mqtt.Light{
		{ID: "light-1", Reads: []topics.Form{topics.FormJSON, topics.FormMeaning, topics.FormColour}},
		{ID: "light-2", Reads: []topics.Form{topics.FormJSON}}, {ID: "light-3", Reads: []topics.Form{topics.FormJSON}},
	}
	b.publisher = mqtt.New(s, b, b, c, quiet, nil)
	return b
}

// turn makes a new snapshot, with an event if one is wanted.
func (b *wireBench) turn(humidityPct float64, event bool) {
	now := b.clock.Now()
	at, mono := now.Wall, now.Mono
	good, shown := 21.0, 50.0
	snap := &view.Snapshot{
		At: at, Mono: mono, Journal: b.journal, Bench: b.id, Instance: b.journal, Version: "wire", Started: at,
		Scales: []view.Scale{{Time: at, ID: scaleName, Quality: view.QualityGood}},
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.snap != nil {
		snap.Seq, snap.Started = b.snap.Seq, b.snap.Started
	}
	for i, zone := range []string{mixing, presses} {
		sensor := fmt.Sprintf("sensor-%d", i+1)
		snap.Air = append(snap.Air, view.Air{Time: at, Zone: zone, Sensor: sensor, TemperatureC: &good, HumidityPct: &humidityPct, Quality: view.QualityGood})
		snap.Sensors = append(snap.Sensors, view.Sensor{ID: sensor, Condition: "up", Since: snap.Started, TemperatureC: &good, HumidityPct: &shown, ReadAt: snap.Started})
	}
	if event {
		snap.Seq++
		e, err := view.WireEvent(view.Source{Bench: b.id, Journal: b.journal}, snap.Seq, at, string(record.KindGood), "plantload", fmt.Appendf(nil, `{"batch":"b-%d"}`, snap.Seq%wireBatches+1))
		if err != nil {
			panic(err) // its parts are constants
		}
		b.events = append(b.events, e)
	}
	for i := range wireBatches {
		press, id := fmt.Sprintf("press-%d", i+1), fmt.Sprintf("b-%d", i+1)
		low, high := snap.Started.Add(4*time.Hour), snap.Started.Add(6*time.Hour)
		snap.Batches = append(snap.Batches, view.Batch{BatchState: view.BatchState{
			Time: at, ID: id, Ink: "dial-satin", Press: &press, Zone: presses, State: lifecycle.Open, MixedAt: &snap.Started, GoodAt: &snap.Started,
			EndsAt: &view.Span[time.Time]{Expected: low.Add(time.Hour), Low: low, High: high}, Quality: view.QualityGood,
		}})
		snap.Lights = append(snap.Lights, view.Light{
			Time: at, ID: fmt.Sprintf("light-%d", i+1), Meaning: light.InOrder, Colour: light.InOrder.Colour(), Reason: "in order until " + low.Format(time.TimeOnly), Press: press, Batch: id,
		})
	}
	b.snap = snap
	for _, w := range b.watchers {
		select {
		case w <- struct{}{}:
		default:
		}
	}
}

// run publishes, and makes snapshots and events, until ctx is done.
func (b *wireBench) run(ctx context.Context) error {
	var publishing sync.WaitGroup
	var err error
	publishing.Go(func() { err = b.publisher.Run(ctx) })
	wait := rand.N(wireSnapshotEvery) // benches do not keep step
	humidity := 50.0
	for n := 0; ; n++ {
		timer := time.NewTimer(wait)
		select {
		case <-timer.C:
			event := n%2 == 1 && !b.resting.Load()
			if event {
				humidity = 45 + 10*b.random.Float64()
			}
			b.turn(humidity, event)
			wait = wireSnapshotEvery
		case <-ctx.Done():
			timer.Stop()
			publishing.Wait()
			return err
		}
	}
}

// up reports whether the bench is connected with all that it has.
func (b *wireBench) up() bool {
	is := b.publisher.Status()
	return is.Connected && len(is.LightsAway) == 0
}

// last returns the number of the newest event.
func (b *wireBench) last() uint64 { return b.Snapshot().Seq }

// Snapshot returns the newest snapshot.
func (b *wireBench) Snapshot() *view.Snapshot {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.snap
}

// Watch returns a channel that is signalled with each new snapshot. Nothing ends that: a bench's
// watchers live as long as it.
func (b *wireBench) Watch() (<-chan struct{}, func()) {
	w := make(chan struct{}, 1)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.watchers = append(b.watchers, w)
	return w, func() {}
}

// WatchLights is Watch: its snapshots are made whole.
func (b *wireBench) WatchLights() (<-chan struct{}, func()) { return b.Watch() }

// Do refuses each change: nothing is behind a wire bench.
func (b *wireBench) Do(context.Context, request.Request) (request.Reply, error) {
	return request.Reply{}, request.Refuse(request.Unavailable, "Wire", "this bench has only its messages")
}

// Events returns the events after a number that is not below the cursor.
func (b *wireBench) Events(_ context.Context, after uint64, limit int) ([]view.Event, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i, e := range b.events {
		if e.Seq > after {
			return b.events[i:min(i+limit, len(b.events)):len(b.events)], nil
		}
	}
	return nil, nil
}

// Cursor returns the number of the last event that was taken.
func (b *wireBench) Cursor(context.Context, string) (uint64, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.cursor, nil
}

// SetCursor forgets the events up to a number.
func (b *wireBench) SetCursor(_ context.Context, _ string, seq uint64) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.cursor = seq
	for len(b.events) > 0 && b.events[0].Seq <= seq {
		b.events = b.events[1:]
	}
	return nil
}

const (
	// wireUpWithin is how long a wire bench may take to connect.
	wireUpWithin = 5 * time.Minute
	// wireAtOnce is how many connect at the same time: with all at once, attempts would end for lack of time.
	wireAtOnce = 50
)

// runWire runs wire benches, and measures once all are up.
func runWire(ctx context.Context, o PlantOptions, h *subscriber, before usage) (r PlantReport, err error) {
	system, err := clock.NewSystem(true)
	if err != nil {
		return r, fmt.Errorf("plant: %w", err)
	}
	access, err := mqtt.FromShop(config.Shop{MQTT: o.access(o.Broker)})
	if err != nil {
		return r, fmt.Errorf("plant: %w", err)
	}
	var benches []*wireBench
	var running sync.WaitGroup
	on, off := context.WithCancel(ctx)
	defer running.Wait()
	defer off()
	began := time.Now()
	connecting := 0 // benches from here on were not up when they were last looked at
	for i := range o.Benches {
		b := newWireBench(o, access, system, i+1)
		benches = append(benches, b)
		running.Go(func() { _ = b.run(on) }) // it fails without an address, and there is one
		most := wireAtOnce
		if i+1 == o.Benches {
			most = 0
		}
		if err := until(ctx, wireUpWithin, func() bool {
			for connecting < len(benches) && benches[connecting].up() {
				connecting++
			}
			return len(benches)-connecting <= most
		}); err != nil {
			return r, fmt.Errorf("plant: %s and others did not connect: %w", benches[connecting].id, err)
		}
	}
	r = PlantReport{Benches: len(benches), UpAfter: time.Since(began)}
	h.begin()
	up, brokerUp, from := usageNow(), usageOf(o.BrokerPID), h.traffic()
	timer := time.NewTimer(o.For)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
	r.count(from, h.traffic(), before, up, usageNow())
	r.countBroker(brokerUp, usageOf(o.BrokerPID))
	for _, b := range benches {
		b.resting.Store(true)
	}
	if ctx.Err() == nil {
		_ = until(ctx, judgeWithin, func() bool { r.judgeWire(benches, h); return len(r.MissingEvents)+len(r.WrongLights) == 0 })
	}
	h.report(&r)
	return r, nil
}

// judgeWire checks whether all events were received that were made until now.
func (r *PlantReport) judgeWire(benches []*wireBench, h *subscriber) {
	r.MissingEvents, r.WrongLights = nil, nil
	for _, b := range benches {
		last := b.last()
		if got := h.received(b.id); got.Last < last || got.Gaps > 0 {
			r.MissingEvents = append(r.MissingEvents, fmt.Sprintf("%s has %d events, of which number %d came last and %d are missing", b.id, last, got.Last, got.Gaps))
		}
		topic := strings.Join([]string{h.prefix, b.id, "light", "light-2"}, "/")
		if got := h.light(topic); got != string(light.InOrder) {
			r.WrongLights = append(r.WrongLights, fmt.Sprintf("light-2 of %s shows %s", b.id, got))
		}
	}
}

// until waits for a condition, at most for a time. The error says that it did not come.
func until(ctx context.Context, within time.Duration, ok func() bool) error {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	again := time.NewTicker(50 * time.Millisecond)
	defer again.Stop()
	for !ok() {
		select {
		case <-again.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}
