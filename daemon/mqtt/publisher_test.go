package mqtt

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/light"
)

const root = "potlife/bench-1/"

func TestStatesAreThere(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newFixture()
		r.bench.change(func(s *view.Snapshot) {
			s.Alarms = []view.Alarm{{Time: s.At, Seq: 3, Name: "batch-ending", Subject: "0612-1", State: "unacknowledged", Priority: "high", Since: s.At, Text: "soon"}}
		})
		w := mqtttest.Subscribe(t, b.Addr())
		p, stop := runPublisher(t, r, b.settings())
		w.Expect(t, "online", mqtttest.Is(root+"availability", "online"))
		w.Expect(t, "the daemon", mqtttest.JSONHas(root+"daemon", "instance", "one"))
		w.Expect(t, "air", mqtttest.JSONHas(root+"air/bench", "temperature_c", 21.0))
		w.Expect(t, "the scale", mqtttest.JSONHas(root+"scale/scale-1", "weight_g", 12.0))
		w.Expect(t, "the sensor", mqtttest.JSONHas(root+"sensor/bench-air", "condition", "up"))
		w.Expect(t, "the batch", mqtttest.JSONHas(root+"batch/0612-1", "ink", "dial-satin"))
		w.Expect(t, "the alarm", mqtttest.JSONHas(root+"alarm/batch-ending/0612-1", "state", "unacknowledged"))
		w.Expect(t, "the light", mqtttest.JSONHas(root+"light/light-1", "meaning", "in-order"))
		w.Expect(t, "the light's word", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
		if !p.Connected() || !p.Status().Connected {
			t.Error("does not say that it is connected")
		}
		mqtttest.Until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })

		before := w.Count()
		r.event("0612-1", nil)
		w.ExpectAfter(t, before, "the event", mqtttest.JSONHas(root+"event", "batch", "0612-1"))
		w.ExpectAfter(t, before, "its batch again", mqtttest.JSONHas(root+"batch/0612-1", "ink", "dial-satin"))

		r.bench.change(func(s *view.Snapshot) { s.Batches, s.Alarms = nil, nil })
		w.Expect(t, "the end of the batch", mqtttest.Is(root+"batch/0612-1", ""))
		w.Expect(t, "the end of the alarm", mqtttest.Is(root+"alarm/batch-ending/0612-1", ""))
		stop()
		w.Expect(t, "offline", mqtttest.Is(root+"availability", "offline"))
		if got := w.On(root + "light/light-1/colour"); len(got) > 0 {
			t.Errorf("a topic that the light does not read was published: %v", got)
		}
		w.Expect(t, "unknown of a clean stop", mqtttest.JSONHas(root+"light/light-1", "cause", string(stopped)))
		w.Expect(t, "unknown of a clean stop", mqtttest.Is(root+"light/light-1/meaning", "unknown"))
		for _, topic := range []string{root + "light/light-1/meaning", root + "light/light-1", root + "availability"} {
			if last := w.Last()[topic]; !strings.Contains(last, "unknown") && last != "offline" {
				t.Errorf("a clean stop left %q on %s", last, topic)
			}
		}
	})
}

func TestLightIsValidByTheSnapshot(t *testing.T) {
	b := newBuiltIn(t)
	r := newFixture()
	w := mqtttest.Subscribe(t, b.Addr())
	runPublisher(t, r, b.settings())
	m := w.Expect(t, "the light", mqtttest.JSONHas(root+"light/light-1", "meaning", "in-order"))
	var got LightPayload
	if err := json.Unmarshal([]byte(m.Payload), &got); err != nil {
		t.Fatal(err)
	}
	if want := r.bench.Snapshot().At.Add(90 * time.Second); !got.ValidUntil.Equal(want) {
		t.Errorf("valid until %v, want %v", got.ValidUntil, want)
	}
}

func TestWillsOfACutConnection(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newFixture()
		w := mqtttest.Subscribe(t, b.Addr())
		relay := mqtttest.NewRelay(t, b.Addr())
		s := b.settings()
		s.URLs = []string{"mqtt://" + relay.Addr()}
		p, _ := runPublisher(t, r, s)
		w.Expect(t, "online", mqtttest.Is(root+"availability", "online"))
		w.Expect(t, "the light", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
		w.Expect(t, "the light", mqtttest.JSONHas(root+"light/light-1", "meaning", "in-order"))
		before := w.Count()
		relay.Cut()
		w.ExpectAfter(t, before, "the will", mqtttest.Is(root+"availability", "offline"))
		w.ExpectAfter(t, before, "the light's will", mqtttest.Is(root+"light/light-1/meaning", "unknown"))
		w.ExpectAfter(t, before, "the light's will", mqtttest.JSONHas(root+"light/light-1", "meaning", "unknown"))
		mqtttest.Until(t, "the loss to be noticed", func() bool { return !p.Status().Connected })
		r.bench.change(func(s *view.Snapshot) { s.Air = []view.Air{airView(s.At, 25, 50)} })
		mqtttest.Until(t, "a state to wait", func() bool { return p.Status().Waiting >= 1 })
		after := w.Count()
		relay.Mend()
		w.ExpectAfter(t, after, "online", mqtttest.Is(root+"availability", "online"))
		w.ExpectAfter(t, after, "the light", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
		w.ExpectAfter(t, after, "the batch", mqtttest.JSONHas(root+"batch/0612-1", "ink", "dial-satin"))
	})
}

// The broker is stopped and comes back empty on the same port while events happen.
func TestOutageLosesNothing(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newFixture()
		w := mqtttest.Subscribe(t, b.Addr())
		relay := mqtttest.NewRelay(t, b.Addr())
		s := b.settings()
		s.URLs = []string{"mqtt://" + relay.Addr()}
		p, _ := runPublisher(t, r, s)
		const before, during, after = 20, 200, 20
		for range before {
			r.event("0612-1", nil)
		}
		w.Expect(t, "the last event", mqtttest.JSONHas(root+"event", "seq", float64(before)))
		mqtttest.Until(t, "the cursor", func() bool { seq, err := r.journal.Cursor(t.Context(), hallCursor); return err == nil && seq == before })
		listening := w.Subscriptions()
		b.Stop()
		relay.Cut()
		mqtttest.Until(t, "the loss to be noticed", func() bool { return !p.Connected() })
		for i := range during {
			r.event("0612-1", func(s *view.Snapshot) {
				s.Air = []view.Air{airView(s.At, 22+float64(i), 50)} // telemetry: the newest is enough
			})
		}
		mqtttest.Until(t, "events to wait", func() bool { return p.Status().Waiting >= during })
		b.Start()
		mqtttest.Until(t, "the subscriber to listen again", func() bool { return w.Subscriptions() > listening })
		relay.Mend()
		for range after {
			r.event("0612-1", nil)
		}
		w.Expect(t, "the last event", mqtttest.JSONHas(root+"event", "seq", float64(before+during+after)))
		var seqs []int
		for _, m := range w.On(root + "event") {
			var e struct{ Seq int }
			if err := json.Unmarshal([]byte(m.Payload), &e); err != nil {
				t.Fatal(err)
			}
			if m.QoS != 1 || m.Retained {
				t.Fatalf("event with QoS %d, retained %v", m.QoS, m.Retained)
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
		if got := w.On(root + "air/bench"); len(got) > 20 {
			t.Errorf("%d messages of air for one outage: telemetry was queued", len(got))
		}
		w.Expect(t, "the newest air", mqtttest.JSONHas(root+"air/bench", "temperature_c", 22.0+during-1))
		mqtttest.Until(t, "the cursor", func() bool {
			seq, err := r.journal.Cursor(t.Context(), "mqtt")
			return err == nil && seq == before+during+after
		})
		if m, ok := b.(mosquittoBroker); ok {
			held := m.Retained(root + "#")
			for _, topic := range []string{"availability", "daemon", "air/bench", "scale/scale-1", "sensor/bench-air", "batch/0612-1", "light/light-1", "light/light-1/meaning"} {
				if held[root+topic] == "" {
					t.Errorf("after the restart the broker does not hold %s; it holds %v", topic, held)
				}
			}
		}
	})
}

func TestStaleStatesAreEnded(t *testing.T) {
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
		w := mqtttest.Subscribe(t, b.Addr())
		runPublisher(t, newFixture(), s)
		for topic := range left {
			w.Expect(t, "the end of "+topic, mqtttest.Is(root+topic, ""))
		}
		w.Expect(t, "the batch that lives", mqtttest.JSONHas(root+"batch/0612-1", "ink", "dial-satin"))
		if last := w.Last()[root+"batch/0612-1"]; last == "" {
			t.Error("an open batch was ended")
		}
	})
}

func TestAnotherInstanceStopsTheLights(t *testing.T) {
	b := newBuiltIn(t)
	w := mqtttest.Subscribe(t, b.Addr())
	one, two := newFixture(), newFixture()
	two.bench.change(func(s *view.Snapshot) { s.Instance = "two" })
	s := b.settings()
	p1, _ := runPublisher(t, one, s)
	w.Expect(t, "the light", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
	s.Machine = "another computer"
	before := w.Count()
	p2, stop2 := runPublisher(t, two, s)
	mqtttest.Until(t, "each to notice the other", func() bool {
		return p1.Status().OtherInstance == "two" && p2.Status().OtherInstance == "one"
	})
	w.ExpectAfter(t, before, "unknown", mqtttest.Is(root+"light/light-1/meaning", "unknown"))
	stop2()
	mqtttest.Until(t, "unknown to be what the light was told last", func() bool { return w.Last()[root+"light/light-1/meaning"] == "unknown" })
}

// A daemon that was killed has left its message behind; that is no other instance.
func TestRetainedInstanceIsNoOther(t *testing.T) {
	b := newBuiltIn(t)
	r := newFixture()
	_, stop := runPublisher(t, r, b.settings())
	w := mqtttest.Subscribe(t, b.Addr())
	w.Expect(t, "the daemon", mqtttest.JSONHas(root+"daemon", "instance", "one"))
	stop()
	next := newFixture()
	next.bench.change(func(s *view.Snapshot) { s.Instance = "two" })
	p, _ := runPublisher(t, next, b.settings())
	w.Expect(t, "the next daemon", mqtttest.JSONHas(root+"daemon", "instance", "two"))
	w.Expect(t, "the light", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
	if other := p.Status().OtherInstance; other != "" {
		t.Errorf("takes its predecessor %q for alive", other)
	}
}

func TestJournalFaultDelaysEventsOnly(t *testing.T) {
	b := newBuiltIn(t)
	r := newFixture()
	r.journal.fails = fmt.Errorf("disk full")
	w := mqtttest.Subscribe(t, b.Addr())
	p, _ := runPublisher(t, r, b.settings(), func(p *Publisher) { p.journalRetry = 10 * time.Millisecond })
	r.event("0612-1", func(s *view.Snapshot) { s.Air = []view.Air{airView(s.At, 30, 80)} })
	w.Expect(t, "air", mqtttest.JSONHas(root+"air/bench", "temperature_c", 30.0))
	w.Expect(t, "the light", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
	r.journal.mu.Lock()
	r.journal.fails = nil
	r.journal.mu.Unlock()
	w.Expect(t, "the event", mqtttest.JSONHas(root+"event", "seq", 1.0))
	mqtttest.Until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
}

func TestNoBrokerIsNoHindrance(t *testing.T) {
	relay := mqtttest.NewRelay(t, "127.0.0.1:1")
	relay.Cut()
	r := newFixture()
	p, stop := runPublisher(t, r, testSettings("mqtt://"+relay.Addr()))
	r.event("0612-1", nil)
	mqtttest.Until(t, "the state to say why", func() bool { s := p.Status(); return !s.Connected && s.Detail != "" && s.Waiting > 0 })
	began := time.Now()
	stop()
	if d := time.Since(began); d > writeTimeout {
		t.Errorf("the stop took %v without a broker", d)
	}
}

func TestHungBenchIsUnknown(t *testing.T) {
	snap := newFixture().bench.Snapshot()
	if v := lightOf(words.Locale{}, snap, "light-1", true, false); v.Meaning != light.Unknown || !v.Flashing || v.Colour != "yellow" {
		t.Errorf("a hung bench shows %+v", v)
	}
	if v := lightOf(words.Locale{}, snap, "light-1", false, true); v.Meaning != light.Unknown {
		t.Errorf("a disputed bench shows %v", v.Meaning)
	}
	if v := lightOf(words.Locale{}, snap, "no-such", false, false); v.Meaning != light.Unknown {
		t.Errorf("a light that is not known shows %v", v.Meaning)
	}
	if v := lightOf(words.Locale{}, snap, "light-1", false, false); v.Meaning != light.InOrder {
		t.Errorf("all is well and the light shows %v", v.Meaning)
	}
}

// The bench stops making snapshots; the lamp must notice by itself.
func TestLampNoticesAHungBench(t *testing.T) {
	b := newBuiltIn(t)
	r := newFixture()
	w := mqtttest.Subscribe(t, b.Addr())
	runPublisher(t, r, b.settings(), func(p *Publisher) { p.hungAfter = 300 * time.Millisecond })
	before := w.Count()
	w.ExpectAfter(t, before, "unknown without a new snapshot", mqtttest.Is(root+"light/light-1/meaning", "unknown"))
	before = w.Count()
	r.bench.change(func(*view.Snapshot) {})
	w.ExpectAfter(t, before, "the light again", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
}

// A reading's way from sensor to broker is measured once for each reading.
func TestReadingToPublishIsMeasured(t *testing.T) {
	b := newBuiltIn(t)
	r := newFixture()
	took := make(chan time.Duration, 10)
	p, stop := runPublisher(t, r, b.settings(), func(p *Publisher) { p.published = func(d time.Duration) { took <- d } })
	mqtttest.Until(t, "the connection", p.Connected)
	mqtttest.Until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
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
	case <-time.After(mqtttest.Patience):
		t.Fatal("not measured")
	}
	r.event("0612-1", func(s *view.Snapshot) { s.Air[0].Quality = view.QualityUncertain }) // the same reading
	mqtttest.Until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 && p.Status().Messages[Count{"out", "ok"}] > 8 })
	stop()
	if len(took) > 0 {
		t.Error("one reading was measured twice")
	}
}
