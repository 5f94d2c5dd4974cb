package mqtt

import (
	"fmt"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/light"
)

// TestLampOfAnotherMaker: a lamp with a topic and payloads of its own is told each
// meaning in its own words, and unknown by its will and by a stop.
func TestLampOfAnotherMaker(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		const topic = "potlife/hall/lamp-2/set"
		words := map[light.Meaning]string{}
		for _, m := range light.Meanings() {
			words[m] = fmt.Sprintf(`{"scene":%q,"brightness":80}`, "x-"+string(m))
		}
		w := newWitness(t, b.addr())
		cable := newRelay(t, b.addr())
		s := b.settings()
		s.URL = "mqtt://" + cable.addr()
		s.Lights = []Light{{ID: "light-1", Topic: topic, Payloads: words}}
		r := newRoom()
		_, stop := runPublisher(t, r, s)
		first := w.hears(t, "in order in its own words", is(topic, words[light.InOrder]))
		if first.qos != 1 {
			t.Errorf("QoS %d", first.qos)
		}
		for _, m := range light.Meanings() {
			from := w.mark()
			r.bench.change(func(s *view.Snapshot) { s.Lights[0].Meaning, s.Lights[0].Reason = m, "now "+string(m) })
			w.hearsAfter(t, from, string(m), is(topic, words[m]))
		}
		from := w.mark()
		began := time.Now()
		cable.cut()
		w.hearsAfter(t, from, "its will", is(topic, words[light.Unknown]))
		t.Logf("the will came %v after the cut", time.Since(began).Round(time.Millisecond))
		from = w.mark()
		cable.mend()
		w.hearsAfter(t, from, "the meaning again", func(m heard) bool { return m.topic == topic && m.payload != words[light.Unknown] })
		from = w.mark()
		stop()
		w.hearsAfter(t, from, "unknown by the stop", is(topic, words[light.Unknown]))
		if m, ok := b.(*mosquitto); ok {
			if got := m.retained("potlife/hall/#")[topic]; got != words[light.Unknown] {
				t.Errorf("retained %q", got)
			}
		}
		for _, m := range w.on("potlife/bench-1/light/light-1") {
			t.Errorf("and on a topic that it does not read: %s", m.payload)
		}
	})
}
