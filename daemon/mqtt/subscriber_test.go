package mqtt

import (
	"context"
	"testing"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// TestWhatOthersPublishIsHeard: over each broker, as the broker kept it and live, and again after a
// loss of the broker, which is told.
func TestWhatOthersPublishIsHeard(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		s := b.settings()
		s.Bench = "bench-2"
		r := newFixture()
		_, stop := runPublisher(t, r, s)
		defer stop()
		const topic = "potlife/bench-2/light/light-1/meaning"
		w := mqtttest.Subscribe(t, b.Addr())
		w.Expect(t, "bench-2", mqtttest.Is(topic, "in-order"))
		relay := mqtttest.NewRelay(t, b.Addr())
		own := b.settings()
		own.URLs = []string{"mqtt://" + relay.Addr()}
		to := &board{}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() {
			defer close(done)
			NewSubscriber(own, "air", quietLog()).Subscribe(ctx, []string{topic}, func(topic string, payload []byte, retained bool) {
				to.add("%s, kept %v: %s", topic, retained, payload)
			}, func(err error) { to.add("contact %v", err) })
		}()
		mqtttest.Until(t, "contact", to.has("contact <nil>"))
		mqtttest.Until(t, "what was kept", to.has(topic+", kept true: in-order"))
		r.bench.change(func(s *view.Snapshot) { s.Lights[0].Meaning, s.Lights[0].Reason = light.Soon, "soon" })
		mqtttest.Until(t, "what comes live", to.has(topic+", kept false: soon"))
		to.mu.Lock()
		to.all = nil
		to.mu.Unlock()
		relay.Cut()
		mqtttest.Until(t, "the loss", func() bool { return to.has("contact ")() && !to.has("contact <nil>")() })
		relay.Mend()
		mqtttest.Until(t, "what was kept, again", to.has(topic+", kept true: soon"))
		cancel()
		<-done
	})
}
