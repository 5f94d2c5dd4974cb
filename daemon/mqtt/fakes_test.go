package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/clock"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

func ptr[T any](v T) *T { return &v }

// bootClock is a real clock whose wall time can be moved.
type bootClock struct {
	began time.Time
	mu    sync.Mutex
	shift time.Duration
}

func newBootClock() *bootClock { return &bootClock{began: time.Now()} }

func (c *bootClock) Now() clock.Instant {
	c.mu.Lock()
	defer c.mu.Unlock()
	return clock.Instant{Wall: time.Now().Add(c.shift).UTC().Round(0), Boot: "b", Mono: time.Since(c.began) + time.Hour, Synced: true}
}

// fakeBench shows whatever snapshot a test sets, and answers as it is told.
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
	e, err := view.WireEvent("j1", seq, time.Now(), string(record.KindGood), "test", fmt.Appendf(nil, `{"batch":%q}`, batch))
	if err != nil {
		panic(err)
	}
	j.events = append(j.events, e)
	return seq
}

// room is a bench with its journal, as a publisher sees it.
type room struct {
	bench   *fakeBench
	journal *fakeJournal
	clock   *bootClock
}

func newRoom() *room {
	c := newBootClock()
	now := c.Now()
	at := now.Wall
	return &room{
		clock: c, journal: &fakeJournal{},
		bench: newFakeBench(&view.Snapshot{
			At: at, Mono: now.Mono, Journal: "j1", Bench: "bench-1", Instance: "one", Version: "test", Started: at,
			Air:     []view.Air{airView(at, 21, 50)},
			Scales:  []view.Scale{{Time: at, ID: "scale-1", WeightG: ptr(12.0), Stable: true, Quality: view.QualityGood}},
			Sensors: []view.Sensor{{ID: "bench-air", Condition: "up", Since: at}},
			Batches: []view.Batch{{BatchState: batchState("0612-1", at)}},
			Lights: []view.Light{{
				Time: at, ID: "light-1", Meaning: light.InOrder, Colour: light.InOrder.Colour(), Reason: "all well", Press: "press-1", Batch: "0612-1",
			}},
		}),
	}
}

// event writes an event and shows it in the snapshot, with whatever else it changed.
func (r *room) event(batch string, f func(*view.Snapshot)) {
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
		RemainingS: &view.Span[float64]{Expected: 21600, Low: 14400, High: 28800},
		EndsAt: &view.Span[time.Time]{
			Expected: at.Add(6 * time.Hour), Low: at.Add(4 * time.Hour), High: at.Add(8 * time.Hour),
		},
		Risk: ptr(0.001), Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}},
		Quality: view.QualityGood,
	}
}

func testSettings(url string) Settings {
	return Settings{
		URL: url, Prefix: "potlife", Bench: "bench-1", Machine: "m", Commands: true,
		Lights: []Light{{ID: "light-1", Reads: []Form{FormJSON, FormMeaning}}},
	}
}

func quietLog() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// runPublisher runs one until the test, or the returned function, stops it.
func runPublisher(t testing.TB, r *room, s Settings, tweaks ...func(*Publisher)) (*Publisher, func()) {
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

// heard is a message that a witness got.
type heard struct {
	topic    string
	payload  string
	retained bool
	qos      byte
}

// witness is a client of its own that remembers everything it hears.
type witness struct {
	client     paho.Client
	subscribed atomic.Int32 // how often, once with each connection

	mu  sync.Mutex
	all []heard
	hot chan struct{}
}

func newWitness(t testing.TB, address string) *witness {
	t.Helper()
	w := &witness{hot: make(chan struct{}, 1)}
	options := paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("witness-" + t.Name()).
		SetProtocolVersion(4).SetAutoReconnect(true).SetConnectRetry(true).
		SetMaxReconnectInterval(200 * time.Millisecond).SetConnectRetryInterval(100 * time.Millisecond).
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
			w.mu.Lock()
			w.all = append(w.all, heard{m.Topic(), string(m.Payload()), m.Retained(), m.Qos()})
			w.mu.Unlock()
			select {
			case w.hot <- struct{}{}:
			default:
			}
		}).
		SetWriteTimeout(time.Second).
		SetOnConnectHandler(func(c paho.Client) {
			if token := c.Subscribe("potlife/#", 1, nil); token.WaitTimeout(5*time.Second) && token.Error() == nil {
				w.subscribed.Add(1)
			}
		})
	w.client = paho.NewClient(options)
	if token := w.client.Connect(); !token.WaitTimeout(5*time.Second) || token.Error() != nil {
		t.Fatalf("witness: connect: %v", token.Error())
	}
	t.Cleanup(func() { w.client.Disconnect(100) })
	until(t, "the witness to listen", func() bool { return w.subscribed.Load() > 0 })
	return w
}

// hears waits until a message fits and returns it.
func (w *witness) hears(t testing.TB, what string, fits func(heard) bool) heard {
	t.Helper()
	return w.hearsAfter(t, 0, what, fits)
}

// mark is the place in the record that hearsAfter starts from.
func (w *witness) mark() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.all)
}

func (w *witness) hearsAfter(t testing.TB, from int, what string, fits func(heard) bool) heard {
	t.Helper()
	late := time.After(20 * time.Second)
	for {
		w.mu.Lock()
		for ; from < len(w.all); from++ {
			if fits(w.all[from]) {
				m := w.all[from]
				w.mu.Unlock()
				return m
			}
		}
		w.mu.Unlock()
		select {
		case <-w.hot:
		case <-late:
			t.Fatalf("did not hear %s; heard %s", what, w.summary())
		}
	}
}

func (w *witness) summary() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	s := fmt.Sprintf("%d messages:", len(w.all))
	for _, m := range w.all[max(0, len(w.all)-20):] {
		s += fmt.Sprintf("\n  %s %.120s", m.topic, m.payload)
	}
	return s
}

// state is what a fresh reader would find retained: the last of each topic.
func (w *witness) state() map[string]string {
	w.mu.Lock()
	defer w.mu.Unlock()
	s := map[string]string{}
	for _, m := range w.all {
		s[m.topic] = m.payload
	}
	return s
}

func (w *witness) on(topic string) []heard {
	w.mu.Lock()
	defer w.mu.Unlock()
	var found []heard
	for _, m := range w.all {
		if m.topic == topic {
			found = append(found, m)
		}
	}
	return found
}

func is(topic, payload string) func(heard) bool {
	return func(m heard) bool { return m.topic == topic && m.payload == payload }
}

// jsonHas fits a message on the topic whose JSON object has the value under the key.
func jsonHas(topic, key string, value any) func(heard) bool {
	return func(m heard) bool {
		var o map[string]any
		return m.topic == topic && json.Unmarshal([]byte(m.payload), &o) == nil && o[key] == value
	}
}

// relay is a piece of cable between client and broker that can be cut.
type relay struct {
	listen net.Listener
	to     string
	wg     sync.WaitGroup

	mu    sync.Mutex
	conns map[net.Conn]bool
	dead  bool
}

func newRelay(t testing.TB, to string) *relay {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &relay{listen: l, to: to, conns: map[net.Conn]bool{}}
	r.wg.Go(r.serve)
	t.Cleanup(func() {
		_ = l.Close()
		r.cut()
		r.wg.Wait()
	})
	return r
}

func (r *relay) addr() string { return r.listen.Addr().String() }

func (r *relay) serve() {
	for {
		in, err := r.listen.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", r.to)
		r.mu.Lock()
		if err != nil || r.dead {
			r.mu.Unlock()
			_ = in.Close()
			if out != nil {
				_ = out.Close()
			}
			continue
		}
		r.conns[in], r.conns[out] = true, true
		r.mu.Unlock()
		pump := func(a, b net.Conn) {
			_, err := io.Copy(a, b)
			if err != nil && !errors.Is(err, net.ErrClosed) {
				err = nil // a reset is an end like any other
			}
			_ = a.Close()
			_ = b.Close()
		}
		r.wg.Go(func() { pump(in, out) })
		r.wg.Go(func() { pump(out, in) })
	}
}

// cut closes every connection and refuses new ones until mend.
func (r *relay) cut() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.dead = true
	for c := range r.conns {
		_ = c.Close()
	}
	clear(r.conns)
}

func (r *relay) mend() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.dead = false
}

func noOptions(o *paho.ClientOptions) { o.SetKeepAlive(mainKeepAlive) }
