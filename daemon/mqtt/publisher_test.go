package mqtt

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/light"
)

const root = "potlife/bench-1/"

func TestStatesAreThere(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newRoom()
		r.bench.change(func(s *view.Snapshot) {
			s.Alarms = []view.Alarm{{Time: s.At, Seq: 3, Name: "batch-ending", Subject: "0612-1", State: "unacknowledged", Priority: "high", Since: s.At, Text: "soon"}}
		})
		w := newWitness(t, b.addr())
		p, stop := runPublisher(t, r, b.settings())
		w.hears(t, "online", is(root+"availability", "online"))
		w.hears(t, "the daemon", jsonHas(root+"daemon", "instance", "one"))
		w.hears(t, "air", jsonHas(root+"air/bench", "temperature_c", 21.0))
		w.hears(t, "the scale", jsonHas(root+"scale/scale-1", "weight_g", 12.0))
		w.hears(t, "the sensor", jsonHas(root+"sensor/bench-air", "condition", "up"))
		w.hears(t, "the batch", jsonHas(root+"batch/0612-1", "ink", "dial-satin"))
		w.hears(t, "the alarm", jsonHas(root+"alarm/batch-ending/0612-1", "state", "unacknowledged"))
		w.hears(t, "the light", jsonHas(root+"light/light-1", "meaning", "in-order"))
		w.hears(t, "the light's word", is(root+"light/light-1/meaning", "in-order"))
		if !p.Connected() || !p.Status().Connected {
			t.Error("does not say that it is connected")
		}
		until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })

		before := w.mark()
		r.event("0612-1", nil)
		w.hearsAfter(t, before, "the event", jsonHas(root+"event", "batch", "0612-1"))
		w.hearsAfter(t, before, "its batch again", jsonHas(root+"batch/0612-1", "ink", "dial-satin"))

		r.bench.change(func(s *view.Snapshot) { s.Batches, s.Alarms = nil, nil })
		w.hears(t, "the end of the batch", is(root+"batch/0612-1", ""))
		w.hears(t, "the end of the alarm", is(root+"alarm/batch-ending/0612-1", ""))
		stop()
		w.hears(t, "offline", is(root+"availability", "offline"))
		if got := w.on(root + "light/light-1/colour"); len(got) > 0 {
			t.Errorf("a topic that the light does not read was published: %v", got)
		}
		w.hears(t, "unknown of a clean stop", jsonHas(root+"light/light-1", "reason", reasonStopped))
		w.hears(t, "unknown of a clean stop", is(root+"light/light-1/meaning", "unknown"))
		for _, topic := range []string{root + "light/light-1/meaning", root + "light/light-1", root + "availability"} {
			if last := w.state()[topic]; !strings.Contains(last, "unknown") && last != "offline" {
				t.Errorf("a clean stop left %q on %s", last, topic)
			}
		}
	})
}

func TestLightIsValidByTheSnapshot(t *testing.T) {
	b := newBuiltIn(t)
	r := newRoom()
	w := newWitness(t, b.addr())
	runPublisher(t, r, b.settings())
	m := w.hears(t, "the light", jsonHas(root+"light/light-1", "meaning", "in-order"))
	var got lightWire
	if err := json.Unmarshal([]byte(m.payload), &got); err != nil {
		t.Fatal(err)
	}
	if want := r.bench.Snapshot().At.Add(90 * time.Second); !got.ValidUntil.Equal(want) {
		t.Errorf("valid until %v, want %v", got.ValidUntil, want)
	}
}

func TestWillsOfACutConnection(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newRoom()
		w := newWitness(t, b.addr())
		cable := newRelay(t, b.addr())
		s := b.settings()
		s.URL = "mqtt://" + cable.addr()
		p, _ := runPublisher(t, r, s)
		w.hears(t, "online", is(root+"availability", "online"))
		w.hears(t, "the light", is(root+"light/light-1/meaning", "in-order"))
		w.hears(t, "the light", jsonHas(root+"light/light-1", "meaning", "in-order"))
		before := w.mark()
		cable.cut()
		w.hearsAfter(t, before, "the will", is(root+"availability", "offline"))
		w.hearsAfter(t, before, "the light's will", is(root+"light/light-1/meaning", "unknown"))
		w.hearsAfter(t, before, "the light's will", jsonHas(root+"light/light-1", "meaning", "unknown"))
		until(t, "the loss to be noticed", func() bool { return !p.Status().Connected })
		r.bench.change(func(s *view.Snapshot) { s.Air = []view.Air{airView(s.At, 25, 50)} })
		until(t, "a state to wait", func() bool { return p.Status().Waiting >= 1 })
		after := w.mark()
		cable.mend()
		w.hearsAfter(t, after, "online", is(root+"availability", "online"))
		w.hearsAfter(t, after, "the light", is(root+"light/light-1/meaning", "in-order"))
		w.hearsAfter(t, after, "the batch", jsonHas(root+"batch/0612-1", "ink", "dial-satin"))
	})
}

// The broker is stopped and comes back empty on the same port while events happen.
func TestOutageLosesNothing(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newRoom()
		w := newWitness(t, b.addr())
		cable := newRelay(t, b.addr())
		s := b.settings()
		s.URL = "mqtt://" + cable.addr()
		p, _ := runPublisher(t, r, s)
		const before, during, after = 20, 200, 20
		for range before {
			r.event("0612-1", nil)
		}
		w.hears(t, "the last event", jsonHas(root+"event", "seq", float64(before)))
		until(t, "the cursor", func() bool { seq, err := r.journal.Cursor(t.Context(), cursorName); return err == nil && seq == before })
		listening := w.subscribed.Load()
		b.stop()
		cable.cut()
		until(t, "the loss to be noticed", func() bool { return !p.Connected() })
		for i := range during {
			r.event("0612-1", func(s *view.Snapshot) {
				s.Air = []view.Air{airView(s.At, 22+float64(i), 50)} // telemetry: the newest is enough
			})
		}
		until(t, "events to wait", func() bool { return p.Status().Waiting >= during })
		b.start()
		until(t, "the witness to listen again", func() bool { return w.subscribed.Load() > listening })
		cable.mend()
		for range after {
			r.event("0612-1", nil)
		}
		w.hears(t, "the last event", jsonHas(root+"event", "seq", float64(before+during+after)))
		var seqs []int
		for _, m := range w.on(root + "event") {
			var e struct{ Seq int }
			if err := json.Unmarshal([]byte(m.payload), &e); err != nil {
				t.Fatal(err)
			}
			if m.qos != 1 || m.retained {
				t.Fatalf("event with QoS %d, retained %v", m.qos, m.retained)
			}
			seqs = append(seqs, e.Seq)
		}
		want := make([]int, before+during+after)
		for i := range want {
			want[i] = i + 1
		}
		if !slices.Equal(seqs, want) {
			t.Errorf("events %v; want each once and in order", seqs)
		}
		if got := w.on(root + "air/bench"); len(got) > 20 {
			t.Errorf("%d messages of air for one outage: telemetry was queued", len(got))
		}
		w.hears(t, "the newest air", jsonHas(root+"air/bench", "temperature_c", 22.0+during-1))
		until(t, "the cursor", func() bool {
			seq, err := r.journal.Cursor(t.Context(), "mqtt")
			return err == nil && seq == before+during+after
		})
		if m, ok := b.(*mosquitto); ok {
			held := m.retained(root + "#")
			for _, topic := range []string{"availability", "daemon", "air/bench", "scale/scale-1", "sensor/bench-air", "batch/0612-1", "light/light-1", "light/light-1/meaning"} {
				if held[root+topic] == "" {
					t.Errorf("after the restart the broker does not hold %s; it holds %v", topic, held)
				}
			}
		}
	})
}

func TestLeftoversAreEnded(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		left := map[string]string{
			"batch/0101-9": "{}", "alarm/batch-dead/0101-9": "{}", "air/attic": "{}", "light/light-1/colour": "green", "light/old": "{}",
		}
		s := b.settings()
		early := &connection{settings: s, id: s.clientID("early"), wake: make(chan struct{}, 1), log: quietLog(), prepare: noOptions}
		client, _, err := early.connect(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		early.set(client, nil)
		for topic, payload := range left {
			if err := early.send([]message{{root + topic, 1, true, []byte(payload)}}, writeTimeout)[0]; err != nil {
				t.Fatal(err)
			}
		}
		client.Disconnect(quiesceMs)
		w := newWitness(t, b.addr())
		runPublisher(t, newRoom(), s)
		for topic := range left {
			w.hears(t, "the end of "+topic, is(root+topic, ""))
		}
		w.hears(t, "the batch that lives", jsonHas(root+"batch/0612-1", "ink", "dial-satin"))
		if last := w.state()[root+"batch/0612-1"]; last == "" {
			t.Error("an open batch was ended")
		}
	})
}

func TestAnotherInstanceStopsTheLights(t *testing.T) {
	b := newBuiltIn(t)
	w := newWitness(t, b.addr())
	one, two := newRoom(), newRoom()
	two.bench.change(func(s *view.Snapshot) { s.Instance = "two" })
	s := b.settings()
	p1, _ := runPublisher(t, one, s)
	w.hears(t, "the light", is(root+"light/light-1/meaning", "in-order"))
	s.Machine = "another computer"
	before := w.mark()
	p2, stop2 := runPublisher(t, two, s)
	until(t, "each to notice the other", func() bool {
		return p1.Status().OtherInstance == "two" && p2.Status().OtherInstance == "one"
	})
	w.hearsAfter(t, before, "unknown", is(root+"light/light-1/meaning", "unknown"))
	stop2()
	if got := w.state()[root+"light/light-1/meaning"]; got != "unknown" {
		t.Errorf("the light shows %q while two daemons were just heard", got)
	}
}

// A daemon that was killed has left its message behind; that is no other instance.
func TestRetainedInstanceIsNoOther(t *testing.T) {
	b := newBuiltIn(t)
	r := newRoom()
	_, stop := runPublisher(t, r, b.settings())
	w := newWitness(t, b.addr())
	w.hears(t, "the daemon", jsonHas(root+"daemon", "instance", "one"))
	stop()
	next := newRoom()
	next.bench.change(func(s *view.Snapshot) { s.Instance = "two" })
	p, _ := runPublisher(t, next, b.settings())
	w.hears(t, "the next daemon", jsonHas(root+"daemon", "instance", "two"))
	w.hears(t, "the light", is(root+"light/light-1/meaning", "in-order"))
	if other := p.Status().OtherInstance; other != "" {
		t.Errorf("takes its predecessor %q for alive", other)
	}
}

func TestJournalFaultDelaysEventsOnly(t *testing.T) {
	b := newBuiltIn(t)
	r := newRoom()
	r.journal.fails = fmt.Errorf("disk full")
	w := newWitness(t, b.addr())
	p, _ := runPublisher(t, r, b.settings())
	r.event("0612-1", func(s *view.Snapshot) { s.Air = []view.Air{airView(s.At, 30, 80)} })
	w.hears(t, "air", jsonHas(root+"air/bench", "temperature_c", 30.0))
	w.hears(t, "the light", is(root+"light/light-1/meaning", "in-order"))
	r.journal.mu.Lock()
	r.journal.fails = nil
	r.journal.mu.Unlock()
	w.hears(t, "the event", jsonHas(root+"event", "seq", 1.0))
	until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
}

func TestNoBrokerIsNoHindrance(t *testing.T) {
	cable := newRelay(t, "127.0.0.1:1")
	cable.cut()
	r := newRoom()
	p, stop := runPublisher(t, r, testSettings("mqtt://"+cable.addr()))
	r.event("0612-1", nil)
	until(t, "the state to say why", func() bool { s := p.Status(); return !s.Connected && s.Detail != "" && s.Waiting > 0 })
	began := time.Now()
	stop()
	if d := time.Since(began); d > 3*time.Second {
		t.Errorf("the stop took %v without a broker", d)
	}
}

func TestHungBenchIsUnknown(t *testing.T) {
	snap := newRoom().bench.Snapshot()
	if v := shownBy(snap, "light-1", true, false); v.Meaning != light.Unknown || !v.Flashing || v.Colour != "yellow" {
		t.Errorf("a bench that stands still shows %+v", v)
	}
	if v := shownBy(snap, "light-1", false, true); v.Meaning != light.Unknown {
		t.Errorf("a disputed bench shows %v", v.Meaning)
	}
	if v := shownBy(snap, "no-such", false, false); v.Meaning != light.Unknown {
		t.Errorf("a light that is not known shows %v", v.Meaning)
	}
	if v := shownBy(snap, "light-1", false, false); v.Meaning != light.InOrder {
		t.Errorf("all is well and the light shows %v", v.Meaning)
	}
}

// The bench stops making snapshots; the lamp must notice by itself.
func TestLampNoticesAHungBench(t *testing.T) {
	b := newBuiltIn(t)
	r := newRoom()
	w := newWitness(t, b.addr())
	runPublisher(t, r, b.settings(), func(p *Publisher) { p.hungAfter = 300 * time.Millisecond })
	before := w.mark()
	w.hearsAfter(t, before, "unknown without a new snapshot", is(root+"light/light-1/meaning", "unknown"))
	before = w.mark()
	r.bench.change(func(*view.Snapshot) {})
	w.hearsAfter(t, before, "the light again", is(root+"light/light-1/meaning", "in-order"))
}

// A reading's way from sensor to broker is measured once for each reading.
func TestReadingToPublishIsMeasured(t *testing.T) {
	b := newBuiltIn(t)
	r := newRoom()
	took := make(chan time.Duration, 10)
	p, stop := runPublisher(t, r, b.settings(), func(p *Publisher) { p.published = func(d time.Duration) { took <- d } })
	until(t, "the connection", p.Connected)
	until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
	read := r.clock.Now().Mono
	r.bench.change(func(s *view.Snapshot) {
		v := airView(s.At, 30, 60)
		v.Mono = read
		s.Air = []view.Air{v}
	})
	select {
	case d := <-took:
		if d <= 0 || d > 10*time.Second {
			t.Errorf("took %v", d)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("not measured")
	}
	r.event("0612-1", func(s *view.Snapshot) { s.Air[0].Quality = view.QualityUncertain }) // the same reading
	until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 && p.Status().Messages[Count{"out", "ok"}] > 8 })
	stop()
	if len(took) > 0 {
		t.Error("one reading was measured twice")
	}
}
