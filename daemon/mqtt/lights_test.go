package mqtt

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// TestLampOfAnotherMaker: a lamp with a topic and payloads of its own gets each meaning in its
// own payload, and unknown by its will and by a stop.
func TestLampOfAnotherMaker(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		const topic = "potlife/hall/lamp-2/set"
		words := map[light.Meaning]string{}
		for _, m := range light.Meanings() {
			words[m] = fmt.Sprintf(`{"scene":%q,"brightness":80}`, "x-"+string(m))
		}
		w := mqtttest.Subscribe(t, b.Addr())
		relay := mqtttest.NewRelay(t, b.Addr())
		s := b.settings()
		s.URLs = []string{"mqtt://" + relay.Addr()}
		s.Lights = []Light{{ID: "light-1", Topic: topic, Payloads: words}}
		r := newFixture()
		_, stop := runPublisher(t, r, s)
		first := w.Expect(t, "in order in its own words", mqtttest.Is(topic, words[light.InOrder]))
		if first.QoS != 1 {
			t.Errorf("QoS %d", first.QoS)
		}
		for _, m := range light.Meanings() {
			from := w.Count()
			r.bench.change(func(s *view.Snapshot) { s.Lights[0].Meaning, s.Lights[0].Reason = m, "now "+string(m) })
			w.ExpectAfter(t, from, string(m), mqtttest.Is(topic, words[m]))
		}
		from := w.Count()
		began := time.Now()
		relay.Cut()
		w.ExpectAfter(t, from, "its will", mqtttest.Is(topic, words[light.Unknown]))
		t.Logf("the will came %v after the cut", time.Since(began).Round(time.Millisecond))
		from = w.Count()
		relay.Mend()
		w.ExpectAfter(t, from, "the meaning again", func(m mqtttest.Message) bool { return m.Topic == topic && m.Payload != words[light.Unknown] })
		from = w.Count()
		stop()
		w.ExpectAfter(t, from, "unknown by the stop", mqtttest.Is(topic, words[light.Unknown]))
		if m, ok := b.(mosquittoBroker); ok {
			if got := m.Retained("potlife/hall/#")[topic]; got != words[light.Unknown] {
				t.Errorf("retained %q", got)
			}
		}
		for _, m := range w.On("potlife/bench-1/light/light-1") {
			t.Errorf("and on a topic that it does not read: %s", m.Payload)
		}
	})
}

// A lamp that reads one word has no time to compare: a heartbeat follows each message that the broker
// has delivered, and none comes while the broker drops the lamp's topic.
func TestHeartbeatOfALamp(t *testing.T) {
	m := mqtttest.StartMosquitto(t)
	m.Allow("topic readwrite potlife/#\n")
	s := testSettings("mqtt://" + m.Addr())
	own := map[light.Meaning]string{light.InOrder: "green", light.Unknown: "blink", light.Act: "blue"}
	s.Lights = []Light{
		{ID: "light-1", Reads: []topics.Form{topics.FormJSON, topics.FormMeaning, topics.FormColour}},
		{ID: "light-2", Reads: []topics.Form{topics.FormJSON}},
		{ID: "light-3", Topic: "potlife/hall/lamp-3", Payloads: own},
		{ID: "light-4", Topic: "hall/lamp-4", Payloads: own}, // which the broker drops
	}
	r := newFixture()
	r.bench.change(func(s *view.Snapshot) {
		for _, id := range []string{"light-2", "light-3", "light-4"} {
			other := s.Lights[0]
			other.ID = id
			s.Lights = append(s.Lights, other)
		}
	})
	w := mqtttest.Subscribe(t, m.Addr())
	p, _ := runPublisher(t, r, s, func(p *Publisher) { p.outbox.patience = 200 * time.Millisecond })
	w.Expect(t, "a heartbeat of light-3", mqtttest.Is(root+"light/light-3/heartbeat", "90"))
	beats := func() int { return len(w.On(root + "light/light-1/heartbeat")) }
	mqtttest.Until(t, "a heartbeat of light-1", func() bool { return beats() == 1 })
	r.bench.change(func(s *view.Snapshot) {
		for i := range s.Lights {
			s.Lights[i].Meaning, s.Lights[i].Colour = light.Act, light.Act.Colour()
		}
	})
	mqtttest.Until(t, "a heartbeat for each new message", func() bool { return beats() == 2 })
	mqtttest.Until(t, "the dropped topic to be named", func() bool { return strings.Contains(p.Status().Dropped, "hall/lamp-4") })
	for _, id := range []string{"light-2", "light-4"} {
		if n := len(w.On(root + "light/" + id + "/heartbeat")); n > 0 {
			t.Errorf("%d heartbeats of %s: it reads JSON, or its messages are dropped", n, id)
		}
	}
	if kept := m.Retained(root + "light/+/heartbeat"); len(kept) > 0 {
		t.Errorf("retained heartbeats: %v", kept)
	}
}
