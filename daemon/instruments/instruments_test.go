package instruments

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/devices/climate"
	scales "potlifed/devices/scale"
	"potlifed/devices/simulate"
	"potlifed/model/air"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// heard is a sink that keeps the newest of everything. changed gets a signal after each
// call.
type heard struct {
	mu      sync.Mutex
	read    map[string]SensorReading
	reads   map[string]int
	weight  weigh.Reading
	lines   map[string]uint64
	links   []bool
	keys    int
	trends  map[string]TrendReading
	told    map[string]int    // how often each trend handed on something
	names   map[string]string // of sensors and, behind "scale ", of scales
	changed chan struct{}
}

func newHeard() *heard {
	return &heard{read: map[string]SensorReading{}, reads: map[string]int{}, trends: map[string]TrendReading{}, told: map[string]int{}, names: map[string]string{}, changed: make(chan struct{}, 1)}
}

func (h *heard) note(f func()) {
	h.mu.Lock()
	f()
	h.mu.Unlock()
	select {
	case h.changed <- struct{}{}:
	default:
	}
}

func (h *heard) SensorRead(_ context.Context, sensor string, r SensorReading) {
	h.note(func() { h.read[sensor] = r; h.reads[sensor]++ })
}
func (h *heard) ScaleRead(_ context.Context, _ string, r weigh.Reading) {
	h.note(func() { h.weight = r })
}
func (h *heard) Identified(_ context.Context, scale bool, id, name string) {
	if scale {
		id = "scale " + id
	}
	h.note(func() { h.names[id] = name })
}
func (h *heard) TrendRead(_ context.Context, id string, r TrendReading) {
	h.note(func() { h.trends[id] = r; h.told[id]++ })
}
func (h *heard) ScaleKey(context.Context, string) { h.note(func() { h.keys++ }) }
func (h *heard) ScaleLink(_ context.Context, _ string, up bool, _ health.Fault, _ string) {
	h.note(func() { h.links = append(h.links, up) })
}
func (h *heard) ScaleLines(_ context.Context, _ string, lines map[string]uint64) {
	h.note(func() { h.lines = lines })
}

// until waits until what was heard satisfies a condition.
func (h *heard) until(t *testing.T, what string, is func() bool) {
	t.Helper()
	late := time.After(time.Minute)
	for {
		h.mu.Lock()
		ok := is()
		h.mu.Unlock()
		if ok {
			return
		}
		select {
		case <-h.changed:
		case <-late:
			t.Fatalf("%s: not within a minute", what)
		}
	}
}

// systemClock is a clock that runs as time does.
type systemClock struct{}

func (systemClock) Now() clock.Instant {
	return clock.Instant{Wall: time.Now(), Synced: true, Mono: time.Since(booted)}
}

var booted = time.Now().Add(-time.Hour)

// runs starts the reader. Its end is waited for when the test ends.
func runs(t *testing.T, shop config.Shop, sink Sink) {
	t.Helper()
	runsWith(t, shop, sink, nil)
}

// runsWith does so with a subscriber.
func runsWith(t *testing.T, shop config.Shop, sink Sink, subscriber Subscriber) {
	t.Helper()
	runsBy(t, systemClock{}, shop, sink, subscriber)
}

// hastened is a clock by which intervals are a hundredth as long.
type hastened struct{ systemClock }

func (hastened) Real(d time.Duration) time.Duration { return d / 100 }

func runsBy(t *testing.T, c clock.Clock, shop config.Shop, sink Sink, subscriber Subscriber) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- Reader{Shop: shop, Clock: c, Log: slog.New(slog.DiscardHandler), Sink: sink, Subscriber: subscriber}.Run(ctx)
	}()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("run: %v", err)
		}
	})
}

func room(t *testing.T, dir string, a air.State) *simulate.Room {
	t.Helper()
	r, err := simulate.NewRoom(dir, a)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A sensor that is not there is tried again, read once it is there, and its values that no
// air has are told from those that could not be read.
func TestASensorThatComesLater(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "hwmon0")
	h := newHeard()
	runs(t, config.Shop{Sensors: []config.Sensor{{ID: "west", Path: dir, Every: 5 * time.Millisecond}}}, h)
	h.until(t, "a sensor that is not there", func() bool {
		return h.reads["west"] > 1 && errors.Is(h.read["west"].Err, climate.ErrAbsent) && h.read["west"].Fault == health.Absent
	})
	r := room(t, dir, air.State{TemperatureC: 21.5, HumidityPct: 44})
	h.until(t, "a reading", func() bool { return h.read["west"].Err == nil && h.read["west"].Air.TemperatureC == 21.5 })
	if err := r.Set(air.State{TemperatureC: 130, HumidityPct: 44}); err != nil {
		t.Fatal(err)
	}
	h.until(t, "an implausible value", func() bool { return h.read["west"].Fault == health.Implausible && h.read["west"].Err != nil })
}

// TestAnotherChipIsNoticed: behind the same path is another one, after a fault.
func TestAnotherChipIsNoticed(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "hwmon0")
	room(t, dir, air.State{TemperatureC: 21.5, HumidityPct: 44})
	h := newHeard()
	runs(t, config.Shop{Sensors: []config.Sensor{{ID: "west", Path: dir, Every: time.Millisecond}}}, h)
	h.until(t, "its name", func() bool { return h.names["west"] == "simulated" })
	if err := os.Rename(dir, dir+"-away"); err != nil {
		t.Fatal(err)
	}
	h.until(t, "the fault", func() bool { return h.read["west"].Fault == health.Absent })
	other, err := simulate.NewRoom(dir, air.State{TemperatureC: 21.5, HumidityPct: 44})
	if err := errors.Join(err, other.SetRaw("name", "hdc1080\n")); err != nil {
		t.Fatal(err)
	}
	h.until(t, "the other name", func() bool { return h.names["west"] == "hdc1080" })
}

func TestNaming(t *testing.T) {
	var n naming
	now, fault := time.Now(), errors.New("gone")
	for i, c := range []struct {
		err   error
		after time.Duration
		due   bool
	}{{fault, 0, false}, {nil, 0, true}, {nil, time.Second, false}, {nil, time.Minute, true}, {fault, time.Second, false}, {nil, time.Second, true}, {nil, time.Second, false}} {
		if now = now.Add(c.after); n.due(c.err, now) != c.due {
			t.Errorf("reading %d: due is not %v", i, c.due)
		}
	}
}

// A sensor that fails does not hold up the one beside it.
func TestEachSensorForItself(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "hwmon0")
	room(t, dir, air.State{TemperatureC: 23, HumidityPct: 61})
	h := newHeard()
	runs(t, config.Shop{Sensors: []config.Sensor{
		{ID: "east", Path: filepath.Join(t.TempDir(), "nothing"), Every: time.Millisecond}, {ID: "west", Path: dir, Every: time.Millisecond},
	}}, h)
	h.until(t, "both sensors", func() bool {
		return h.reads["west"] > 3 && h.read["west"].Err == nil && h.reads["east"] > 3 && h.read["east"].Err != nil
	})
}

// streams is a scale on a TCP port that sends the same lines again and again to each client that
// connects, until the test ends.
func streams(t *testing.T, lines string) (port string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var open sync.WaitGroup
	done := make(chan struct{})
	open.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			open.Go(func() {
				defer c.Close()
				for {
					select {
					case <-done:
						return
					case <-time.After(time.Millisecond):
					}
					if _, err := c.Write([]byte(lines)); err != nil {
						return
					}
				}
			})
		}
	})
	t.Cleanup(func() {
		close(done)
		if err := l.Close(); err != nil {
			t.Error(err)
		}
		open.Wait()
	})
	return "tcp://" + l.Addr().String()
}

// shownLine is 48.3 g in the shape status-first; made up.
const shownLine = "ST,GS,+00048.3  g\r\n"

func TestAScaleIsReadAndCounted(t *testing.T) {
	h := newHeard()
	runs(t, config.Shop{Scales: []config.Scale{{ID: "round", Port: streams(t, shownLine+"noise\r\n"), Line: "status-first"}}}, h)
	h.until(t, "a weight", func() bool { return h.weight.HasWeight && h.weight.Grams == 48.3 })
	h.until(t, "the counts", func() bool { return h.lines["ok"] > 0 && h.lines["unknown"] > 0 })
	h.until(t, "the link", func() bool { return len(h.links) > 0 && h.links[0] })
}

func TestAScaleThatIsNotThere(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := "tcp://" + l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	h := newHeard()
	runs(t, config.Shop{Scales: []config.Scale{{ID: "round", Port: port}}}, h)
	h.until(t, "the failure", func() bool { return len(h.links) > 0 && !h.links[0] })
}

// What is tried once is read as the service reads it.
func TestTry(t *testing.T) {
	last, counts, shape, err := TryScale(t.Context(), config.Scale{ID: "round", Port: streams(t, shownLine), Line: "status-first"}, func([]byte) {})
	if err != nil || last.Grams != 48.3 || counts.OK == 0 || shape != "status-first" {
		t.Errorf("scale: %+v, %+v, %q, %v", last, counts, shape, err)
	}
	dir := filepath.Join(t.TempDir(), "hwmon0")
	room(t, dir, air.State{TemperatureC: 19.25, HumidityPct: 58})
	s, err := OpenSensor(config.Sensor{Path: dir})
	if err != nil {
		t.Fatal(err)
	}
	if a, err := ReadSensor(t.Context(), s); err != nil || a.TemperatureC != 19.25 {
		t.Errorf("sensor: %+v, %v", a, err)
	}
	// The folder is of another kind than the configuration says.
	if s, err := OpenSensor(config.Sensor{Source: "iio", Path: dir}); s != nil || sensorFault(err) != health.OtherKind {
		t.Errorf("hwmon as iio: %v, %v", s, err)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenSensor(config.Sensor{Path: dir}); !errors.Is(err, climate.ErrAbsent) {
		t.Errorf("a sensor that is gone: %v", err)
	}
}

// Every line has one outcome: the counts handed on add up to the lines that came in.
func TestLineCountsAddUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := func(name string) uint64 { return rapid.Uint64Range(0, 1e6).Draw(rt, name) }
		c := scales.Counts{OK: n("ok"), Learning: n("learning"), Torn: n("torn"), Unknown: n("unknown"), Overlong: n("overlong")}
		c.Overload = rapid.Uint64Range(0, c.OK).Draw(rt, "overload")
		var sum uint64
		for _, n := range lineCounts(c) {
			sum += n
		}
		if want := c.OK + c.Learning + c.Torn + c.Unknown + c.Overlong; sum != want {
			rt.Fatalf("%d lines of %d: %v", sum, want, lineCounts(c))
		}
	})
}

// Whatever a sensor does, its log has one line for each change between good and bad.
func TestAFaultIsLoggedWhenItComesAndGoes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var out bytes.Buffer
		f := faultLog{log: slog.New(slog.NewTextHandler(&out, nil))}
		was, want := false, 0
		for _, fails := range rapid.SliceOfN(rapid.Bool(), 0, 30).Draw(rt, "fails") {
			var err error
			if fails {
				err = errors.New("input/output error")
			}
			if f.note(err); fails != was {
				want++
			}
			was = fails
		}
		if got := strings.Count(out.String(), "\n"); got != want {
			rt.Fatalf("%d lines for %d changes:\n%s", got, want, out.String())
		}
	})
}
