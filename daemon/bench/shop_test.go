package bench

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/journal"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/lifecycle"
	"potlifed/model/weigh"
)

// handClock is a clock that a test turns. It moves on by speed seconds in each second of
// real time.
type handClock struct {
	is    clock.Instant
	speed float64
}

func (c *handClock) Now() clock.Instant { return c.is }

func (c *handClock) Lapse(d time.Duration) time.Duration {
	return time.Duration(float64(d) * c.speed)
}

func (c *handClock) turn(d time.Duration) {
	c.is.Wall = c.is.Wall.Add(d)
	c.is.Mono += d
}

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

func newClock() *handClock {
	return &handClock{clock.Instant{Wall: noon, Boot: "boot-1", Mono: time.Hour, Synced: true}, 1}
}

// testShop has ratios, masses, lives and shares of thinner that are common practice, no
// source.
const testShop = `
bench: bench-1
data_dir: /nowhere
scales:
  - {id: scale-1, port: "tcp://127.0.0.1:1", division_g: 0.1, zone: bench}
sensors:
  - {id: bench-air, zone: bench, path: /nowhere, every: 5s}
  - {id: hall-air, zone: hall, path: /nowhere/else, every: 5s}
presses:
  - {id: press-1, zone: bench, cup: cup-90}
  - {id: press-2, zone: hall, cup: cup-90}
cups:
  - {id: cup-90, ink_minimum_g: 60, fill_maximum_g: 110}
  - {id: cup-130, ink_minimum_g: 90, fill_maximum_g: 180, mouth_mm: 130}
lights:
  - {id: light-1, presses: [press-1]}
  - {id: light-2, presses: [press-1, press-2], reads: [json], confirms: hall/light-2}
thinners:
  - {id: thinner-s, vapour_pressure_pa: 500, molar_mass_g: 98.14}
inks:
  - id: dial-satin
    thinners: [thinner-s]
    hardener_ratio: "4:1"
    pot_life: {shortest: 6h, longest: 8h}
  - id: dial-flat
    hardener_ratio: "10:1"
    pot_life: {about: 8h}
    rest: 10m
`

// oneGoroutine leaves a test out of -short, with which the race detector runs: hours of a shop pass
// on one goroutine, so that it would look long and find nothing.
func oneGoroutine(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("hours of a shop on one goroutine")
	}
}

// shop is a bench that a test drives by hand: no goroutine, a real journal.
type shop struct {
	t       testing.TB
	b       *Bench
	journal *disk
	clock   *handClock
	ctx     context.Context
	air     rooms // what the sensors read while the test is busy with the scale

	reload    func() // called after each tenth of a second while reloading
	reloading bool
}

// disk is the real journal, written when the test says so, and failing when it says
// so.
type disk struct {
	*journal.Journal
	groups chan journal.Group
	full   error
	slow   bool // a group is not written yet
}

func (d *disk) Groups() chan<- journal.Group { return d.groups }

var errFull = errors.New("database or disk is full")

func openShop(t testing.TB, dir string, c *handClock) *shop {
	t.Helper()
	return openShopOf(t, dir, c, testShop)
}

func openShopOf(t testing.TB, dir string, c *handClock, configuration string) *shop {
	t.Helper()
	cfg, err := config.Parse("shop.yaml", []byte(configuration))
	if err != nil {
		t.Fatal(err)
	}
	j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = j.Close() }) // again, when the shop has crashed
	d := &disk{Journal: j, groups: make(chan journal.Group, 1)}
	b, err := New(t.Context(), Settings{Shop: cfg, Version: "test", Clock: c, Journal: d, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	s := &shop{t: t, b: b, journal: d, clock: c, ctx: context.Background(), air: both(mild)}
	s.settle()
	return s
}

// crash ends the shop as a pulled plug does: nothing is told to anybody.
func (s *shop) crash() {
	s.t.Helper()
	if err := s.journal.Close(); err != nil {
		s.t.Fatal(err)
	}
}

// settle lets the journal do its work, as the loop and the writer would.
func (s *shop) settle() {
	for {
		s.b.flush()
		groups := s.journal.groups
		if s.journal.slow {
			groups = nil
		}
		select {
		case g := <-groups:
			err := s.journal.full
			if err == nil {
				err = s.journal.Write(g)
			}
			s.b.acknowledged(err)
			if err != nil {
				s.b.publish(s.b.clock.now())
				return
			}
		default:
			s.b.publish(s.b.clock.now())
			if len(s.b.unforeseen) > 0 {
				for len(s.b.unforeseen) > 0 {
					s.b.foresee()
				}
				s.b.publish(s.b.clock.now())
			}
			return
		}
	}
}

func (s *shop) enter(in input) {
	in.enter(s.b, s.b.clock.now())
	s.settle()
}

// rooms are what the sensors of a test read; one that is missing is silent.
type rooms map[string]*air.State

// pass lets time go by, second by second, with the sensors read every five.
func (s *shop) pass(d time.Duration, r rooms) {
	s.otherAir()
	s.air = r
	for range int(d / (100 * time.Millisecond)) {
		s.turn()
	}
}

// otherAir forgets what the sensors read so far. The air of a test's next rooms is that of
// another hour; what a sensor makes of a jump is tested in [TestAFaultValueStopsNoClock].
func (s *shop) otherAir() {
	for _, sensor := range s.b.sensors {
		sensor.judge = air.Judge{}
	}
}

// turn lets a tenth of a second go by.
func (s *shop) turn() {
	s.clock.turn(100 * time.Millisecond)
	if s.clock.is.Mono%(5*time.Second) == 0 {
		for id, a := range s.air {
			s.enter(airReading{sensor: id, air: *a, at: s.clock.is.Mono})
		}
	}
	if s.clock.is.Mono%time.Second == 0 {
		s.b.tick(s.b.clock.now())
		s.settle()
	}
	if s.reloading {
		s.reload()
	}
}

// weighs lets the scale show a weight for a while, ten lines a second, marked stable
// from the third line on.
func (s *shop) weighs(grams float64, d time.Duration) {
	for i := range int(d / (100 * time.Millisecond)) {
		s.turn()
		r := weigh.Reading{Grams: grams, HasWeight: true, Stability: weigh.Moving}
		if i > 1 {
			r.Stability = weigh.Stable
		}
		s.enter(weightReading{scale: "scale-1", reading: r, at: s.clock.is.Mono})
	}
}

// reads gives one reading on the way to another.
func (s *shop) reads(grams float64) {
	s.turn()
	s.enter(weightReading{scale: "scale-1", reading: weigh.Reading{Grams: grams, HasWeight: true, Stability: weigh.Moving}, at: s.clock.is.Mono})
}

// pours lets the weight rise from one value to another, and rest there.
func (s *shop) pours(from, to float64, d time.Duration) {
	n := int(d / (100 * time.Millisecond))
	for i := range n {
		s.turn()
		g := from + (to-from)*float64(i+1)/float64(n)
		s.enter(weightReading{scale: "scale-1", reading: weigh.Reading{Grams: g, HasWeight: true, Stability: weigh.Moving}, at: s.clock.is.Mono})
	}
	s.weighs(to, time.Second)
}

// ask makes a change and returns what it was answered, or the refusal.
func (s *shop) ask(c request.Change) (view.Batch, *request.Refusal) {
	s.t.Helper()
	return s.askAs(request.Request{Change: c, By: "tester"})
}

func (s *shop) askAs(r request.Request) (view.Batch, *request.Refusal) {
	s.t.Helper()
	w := &waiter{request: r, answer: make(chan answer, 1)}
	s.enter(w)
	var v view.Batch
	select {
	case a := <-w.answer:
		if a.err != nil {
			var refusal *request.Refusal
			if !errors.As(a.err, &refusal) {
				s.t.Fatalf("%s failed with %v, which is no refusal", r.Change.Verb(), a.err)
			}
			s.readable(refusal)
			return v, refusal
		}
		reply, err := s.b.whole(s.ctx, a)
		if err != nil {
			s.t.Fatalf("%s: %v", r.Change.Verb(), err)
		}
		if err := json.Unmarshal(reply.Body, &v); err != nil {
			s.t.Fatalf("%s: answer %s: %v", r.Change.Verb(), reply.Body, err)
		}
	default:
		s.t.Fatalf("%s was not answered", r.Change.Verb())
	}
	return v, nil
}

// must makes a change that has to be taken.
func (s *shop) must(c request.Change) view.Batch {
	s.t.Helper()
	v, refusal := s.ask(c)
	if refusal != nil {
		s.t.Fatalf("%s %+v: refused: %v", c.Verb(), c, refusal)
	}
	return v
}

// mixes makes a whole guided mix on one tare and returns its id: 60 g of ink, 15 g of
// hardener, 7.5 g of thinner.
func (s *shop) mixes() string {
	s.t.Helper()
	id := s.must(request.StartMix{Scale: "scale-1", Ink: "dial-satin", Press: "press-1"}).ID
	confirm := func(step string) view.Batch {
		s.t.Helper()
		v := s.must(request.ConfirmStep{Batch: id, Step: step})
		if len(v.Corrections) > 0 {
			s.t.Fatalf("step %s: corrections %+v", step, v.Corrections)
		}
		return v
	}
	s.weighs(12, time.Second)
	confirm("cup")
	s.pours(12, 72, 6*time.Second)
	confirm("ink")
	s.pours(72, 87, 3*time.Second)
	confirm("hardener")
	s.weighs(87, 2*time.Second)
	confirm("stir-hardener")
	s.pours(87, 94.5, 2*time.Second)
	confirm("thinner")
	s.weighs(94.5, 2*time.Second)
	v := confirm("stir-thinner")
	if v.State != lifecycle.Open {
		s.t.Fatalf("a mix that is stirred is %q", v.State)
	}
	return id
}

func (s *shop) batch(id string) view.Batch {
	s.t.Helper()
	for _, b := range s.b.Snapshot().Batches {
		if b.ID == id {
			return b
		}
	}
	s.t.Fatalf("batch %s is not in the snapshot", id)
	return view.Batch{}
}

// spent is a batch's spent life with all digits.
func (s *shop) spent(id string) float64 {
	s.t.Helper()
	v := s.b.exactBatchView(s.b.state, s.b.state.Batches[id], s.b.clock.now())
	if v.Spent == nil {
		s.t.Fatalf("batch %s has no life", id)
	}
	return *v.Spent
}

func (s *shop) light(id string) view.Light {
	s.t.Helper()
	for _, l := range s.b.Snapshot().Lights {
		if l.ID == id {
			return l
		}
	}
	s.t.Fatalf("light %s is not in the snapshot", id)
	return view.Light{}
}

func (s *shop) alarm(name, subject string) (view.Alarm, bool) {
	for _, a := range s.b.Snapshot().Alarms {
		if a.Name == name && a.Subject == subject {
			return a, true
		}
	}
	return view.Alarm{}, false
}

// asks makes a change whose answer is no batch.
func (s *shop) asks(c request.Change) (json.RawMessage, *request.Refusal) {
	s.t.Helper()
	w := &waiter{request: request.Request{Change: c, By: "tester"}, answer: make(chan answer, 1)}
	s.enter(w)
	a := <-w.answer
	var refusal *request.Refusal
	if a.err != nil && !errors.As(a.err, &refusal) {
		s.t.Fatalf("%s failed with %v, which is no refusal", c.Verb(), a.err)
	}
	if refusal != nil {
		s.readable(refusal)
	}
	return a.reply.Body, refusal
}

// readable fails where a refusal has no text for the person at the bench, or one with words of the
// API or with what the catalogue left open.
func (s *shop) readable(r *request.Refusal) {
	s.t.Helper()
	if r.Text == "" || strings.ContainsAny(r.Text, `"_{}[]`) || !strings.HasSuffix(r.Text, ".") && !strings.HasSuffix(r.Text, "?") {
		s.t.Errorf("refusal %q has the text %q for people", r.Error(), r.Text)
	}
}

func (s *shop) acknowledge(name, subject string) {
	s.t.Helper()
	if _, refusal := s.asks(request.AcknowledgeAlarm{Alarm: name, Subject: subject}); refusal != nil {
		s.t.Fatalf("acknowledge %s/%s: %v", name, subject, refusal)
	}
}

// overOnceSeen: the cause of an alarm is gone, and so is the alarm once somebody has
// acknowledged it.
func (s *shop) overOnceSeen(name, subject string) {
	s.t.Helper()
	if a, ok := s.alarm(name, subject); !ok || a.State != "returned" {
		s.t.Errorf("the cause of %s/%s is gone and nobody has seen it: it is %q, want returned", name, subject, a.State)
		return
	}
	s.acknowledge(name, subject)
	if a, ok := s.alarm(name, subject); ok {
		s.t.Errorf("%s/%s is %s although its cause is gone and somebody has seen it", name, subject, a.State)
	}
}

var (
	mild  = &air.State{TemperatureC: 20, HumidityPct: 50}
	humid = &air.State{TemperatureC: 20, HumidityPct: 80}
)

func both(a *air.State) rooms { return rooms{"bench-air": a, "hall-air": a} }

// plainly returns a text with plain spaces between figures and their units.
func plainly(text string) string { return strings.ReplaceAll(text, "\u00a0", " ") }
