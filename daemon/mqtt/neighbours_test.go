package mqtt

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// board takes what other benches say, one line each.
type board struct {
	mu  sync.Mutex
	all []string
}

func (b *board) add(format string, args ...any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.all = append(b.all, fmt.Sprintf(format, args...))
}

func (b *board) Contact(up bool)    { b.add("contact %v", up) }
func (b *board) Alive(bench string) { b.add("alive %s", bench) }
func (b *board) Available(bench string, online, kept bool) {
	b.add("available %s %v, kept %v", bench, online, kept)
}
func (b *board) Batch(bench, id string, payload []byte, kept bool) {
	b.add("batch %s %s, kept %v: %s", bench, id, kept, payload)
}
func (b *board) Light(bench, id string, payload []byte, kept bool) {
	b.add("light %s %s, kept %v: %s", bench, id, kept, payload)
}

func (b *board) has(parts ...string) func() bool {
	return func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, line := range b.all {
			fits := true
			for _, part := range parts {
				fits = fits && strings.Contains(line, part)
			}
			if fits {
				return true
			}
		}
		return false
	}
}

// TestOtherBenchesAreHeard: what a publisher sends of its presses, over each broker, live
// and as the broker kept it, through a loss of the broker and the end of the other.
func TestOtherBenchesAreHeard(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		s := b.settings()
		s.Bench = "bench-2"
		r := newFixture()
		_, stop := runPublisher(t, r, s)
		w := mqtttest.Subscribe(t, b.Addr())
		w.Expect(t, "bench-2", mqtttest.JSONHas("potlife/bench-2/light/light-1", "meaning", "in-order"))

		relay := mqtttest.NewRelay(t, b.Addr())
		own := b.settings()
		own.URLs = []string{"mqtt://" + relay.Addr()}
		to := &board{}
		reader := NewNeighbourReader(own, []string{"bench-2", "bench-3"}, to, quietLog())
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); reader.Run(ctx) }()
		mqtttest.Until(t, "contact", to.has("contact true"))
		mqtttest.Until(t, "what was kept", to.has("available bench-2 true, kept true"))
		mqtttest.Until(t, "the light that was kept", to.has("light bench-2 light-1, kept true", `"meaning":"in-order"`))
		mqtttest.Until(t, "the batch that was kept", to.has("batch bench-2 0612-1, kept true", `"ink":"dial-satin"`))
		r.bench.change(func(s *view.Snapshot) { s.Lights[0].Meaning, s.Lights[0].Reason = light.Soon, "soon" })
		mqtttest.Until(t, "the light, live", to.has("light bench-2 light-1, kept false", `"meaning":"soon"`))
		r.bench.change(func(s *view.Snapshot) { s.Batches = nil })
		mqtttest.Until(t, "the end of the batch", func() bool { return to.has("batch bench-2 0612-1, kept false: ")() })
		relay.Cut()
		mqtttest.Until(t, "the loss", to.has("contact false"))
		relay.Mend()
		to.mu.Lock()
		to.all = nil
		to.mu.Unlock()
		mqtttest.Until(t, "contact again", to.has("light bench-2 light-1, kept true", `"meaning":"soon"`))
		stop()
		mqtttest.Until(t, "its end", to.has("available bench-2 false, kept false"))
		cancel()
		<-done
		if line := "/meaning"; to.has("light bench-2 light-1" + line)() {
			t.Error("it reads more than it shows")
		}
	})
}

// TestARefusedTopicIsNoLossOfTheBroker: the topics that the broker lets us read are still shown.
func TestARefusedTopicIsNoLossOfTheBroker(t *testing.T) {
	to := &board{}
	r := NewNeighbourReader(Settings{Prefix: "potlife"}, []string{"bench-2"}, to, quietLog())
	r.contact(refusedFilters{"potlife/bench-2/batch/+"})
	r.contact(errNotConnected)
	if want := []string{"contact true", "contact false"}; !slices.Equal(to.all, want) {
		t.Errorf("%q, want %q", to.all, want)
	}
}

// FuzzOtherTopics: whatever the topic, nothing but the parts of it that are meant comes
// through, and nothing breaks.
func FuzzOtherTopics(f *testing.F) {
	for _, s := range []string{"potlife/bench-2/availability", "potlife/bench-2/light/", "potlife//light/x/y", "potlife", "", "potlife/b/batch/0612-1/x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, topic string) {
		to := &board{}
		(&NeighbourReader{prefix: "potlife", to: to}).receive(topic, []byte("x"), false)
		if len(to.all) > 1 || len(to.all) == 1 && !strings.HasPrefix(topic, "potlife/") {
			t.Errorf("%q: %q", topic, to.all)
		}
	})
}
