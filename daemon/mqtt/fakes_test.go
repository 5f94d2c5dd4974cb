package mqtt

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/clock"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

func ptr[T any](v T) *T { return &v }

// bootClock is a real clock whose wall time can be moved, and which can be stopped.
type bootClock struct {
	began   time.Time
	mu      sync.Mutex
	shift   time.Duration
	stopped *clock.Instant
}

func newBootClock() *bootClock { return &bootClock{began: time.Now()} }

func (c *bootClock) Now() clock.Instant {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.stopped != nil {
		return *c.stopped
	}
	return clock.Instant{Wall: time.Now().Add(c.shift).UTC().Round(0), Boot: "b", Mono: time.Since(c.began) + time.Hour, Synced: true}
}

// fakeBench has the snapshot that a test sets, and answers requests as the test says.
type fakeBench struct {
	mu       sync.Mutex
	snap     *view.Snapshot
	watchers map[chan struct{}]bool
	do       func(context.Context, request.Request) (request.Reply, error)
}

func newFakeBench(snap *view.Snapshot) *fakeBench {
	return &fakeBench{snap: snap, watchers: map[chan struct{}]bool{}}
}

func (b *fakeBench) Snapshot() *view.Snapshot {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.snap
}

func (b *fakeBench) WatchLights() (<-chan struct{}, func()) { return b.Watch() }

func (b *fakeBench) Watch() (<-chan struct{}, func()) {
	ch := make(chan struct{}, 1)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.watchers[ch] = true
	return ch, func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		delete(b.watchers, ch)
	}
}

func (b *fakeBench) Do(ctx context.Context, r request.Request) (request.Reply, error) {
	b.mu.Lock()
	do := b.do
	b.mu.Unlock()
	return do(ctx, r)
}

// change publishes a changed copy of the snapshot.
func (b *fakeBench) change(f func(*view.Snapshot)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	next := *b.snap
	next.Air = append([]view.Air(nil), next.Air...)
	next.Batches = append([]view.Batch(nil), next.Batches...)
	next.Alarms = append([]view.Alarm(nil), next.Alarms...)
	next.Lights = append([]view.Light(nil), next.Lights...)
	next.At, next.Mono = next.At.Add(time.Millisecond), next.Mono+time.Millisecond
	f(&next)
	b.snap = &next
	for ch := range b.watchers {
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}

// fakeJournal keeps events in memory and can be made to fail.
type fakeJournal struct {
	mu     sync.Mutex
	events []view.Event
	cursor map[string]uint64
	fails  error
}

func (j *fakeJournal) Events(_ context.Context, after uint64, limit int) ([]view.Event, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.fails != nil {
		return nil, j.fails
	}
	if after >= uint64(len(j.events)) {
		return nil, nil
	}
	rest := j.events[after:]
	return rest[:min(limit, len(rest))], nil
}

func (j *fakeJournal) Cursor(_ context.Context, name string) (uint64, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.cursor[name], j.fails
}

func (j *fakeJournal) SetCursor(_ context.Context, name string, seq uint64) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.fails != nil {
		return j.fails
	}
	if j.cursor == nil {
		j.cursor = map[string]uint64{}
	}
	j.cursor[name] = seq
	return nil
}

// add writes an event about a batch and returns its number.
func (j *fakeJournal) add(batch string) uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	seq := uint64(len(j.events) + 1)
	e, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, seq, time.Now(), string(record.KindGood), "test", fmt.Appendf(nil, `{"batch":%q}`, batch))
	if err != nil {
		panic(err)
	}
	j.events = append(j.events, e)
	return seq
}

// fixture is a bench with its journal and its clock, as a publisher sees them.
type fixture struct {
	bench   *fakeBench
	journal *fakeJournal
	clock   *bootClock
}

func newFixture() *fixture {
	c := newBootClock()
	now := c.Now()
	at := now.Wall
	return &fixture{
		clock: c, journal: &fakeJournal{},
		bench: newFakeBench(&view.Snapshot{
			At: at, Mono: now.Mono, Journal: "j1", Bench: "bench-1", Instance: "one", Version: "test", Started: at,
			Air:     []view.Air{airView(at, 21, 50)},
			Scales:  []view.Scale{{Time: at, ID: "scale-1", WeightG: ptr(12.0), Stable: true, Quality: view.QualityGood}},
			Sensors: []view.Sensor{{ID: "bench-air", Condition: "up", Since: at, TemperatureC: ptr(21.0), HumidityPct: ptr(50.0), ReadAt: at}},
			Batches: []view.Batch{{BatchState: batchState("0612-1", at)}},
			Lights: []view.Light{{
				Time: at, ID: "light-1", Meaning: light.InOrder, Colour: light.InOrder.Colour(), Reason: "all well", Press: "press-1", Batch: "0612-1",
			}},
		}),
	}
}

// event writes an event and sets the snapshot to it, with what else it changed.
func (r *fixture) event(batch string, f func(*view.Snapshot)) {
	seq := r.journal.add(batch)
	r.bench.change(func(s *view.Snapshot) {
		s.Seq = seq
		if f != nil {
			f(s)
		}
	})
}

func airView(at time.Time, temperatureC, humidityPct float64) view.Air {
	return view.Air{
		Time: at, Zone: "bench", Sensor: "bench-air", TemperatureC: ptr(temperatureC), HumidityPct: ptr(humidityPct),
		Quality: view.QualityGood,
	}
}

func batchState(id string, at time.Time) view.BatchState {
	return view.BatchState{
		Time: at, ID: id, Ink: "dial-satin", Press: ptr("press-1"), Zone: "bench", State: lifecycle.Open,
		MixedAt: ptr(at.Add(-time.Hour)), GoodAt: ptr(at), AgeS: ptr(3600.0), Spent: ptr(0.15),
		RemainingS: &view.Span[float64]{Expected: 18000, Low: 14400, High: 23400},
		EndsAt: &view.Span[time.Time]{
			Expected: at.Add(5 * time.Hour), Low: at.Add(4 * time.Hour), High: at.Add(6*time.Hour + 30*time.Minute),
		},
		Risk: ptr(0.001), StopAtRisk: 0.25, Components: []mix.Component{{Part: "ink", G: 85}, {Part: "hardener", G: 17}},
		Quality: view.QualityGood,
	}
}

func testSettings(url string) Settings {
	return Settings{
		URLs: []string{url}, Prefix: "potlife", Bench: "bench-1", Machine: "m", Commands: true,
		Lights: []Light{{ID: "light-1", Reads: []topics.Form{topics.FormJSON, topics.FormMeaning}}},
	}
}

func quietLog() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// runPublisher runs one until the test, or the returned function, stops it.
func runPublisher(t testing.TB, r *fixture, s Settings, tweaks ...func(*Publisher)) (*Publisher, func()) {
	t.Helper()
	p := New(s, r.bench, r.journal, r.clock, quietLog(), nil)
	for _, tweak := range tweaks {
		tweak(p)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	var once sync.Once
	stop := func() {
		once.Do(func() {
			cancel()
			if err := <-done; err != nil {
				t.Errorf("Run: %v", err)
			}
		})
	}
	t.Cleanup(stop)
	return p, stop
}

func noOptions(o *paho.ClientOptions) { o.SetKeepAlive(mainKeepAlive) }
