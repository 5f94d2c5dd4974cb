package mqtt

import (
	"fmt"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
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
