package rehearsal

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// subscriber reads everything under the prefix of the plant's topics, counts it, and checks
// that the events of each bench come in order.
type subscriber struct {
	prefix string
	client paho.Client

	mu     sync.Mutex
	more   chan struct{} // closed and replaced with each light
	counts map[string]Traffic
	lights map[string]litLight // by topic
	events map[string]*EventsReceived
	serial uint64
}

// Traffic is what was received: messages, and the bytes of their topics and payloads.
type Traffic struct{ Messages, Bytes uint64 }

// EventsReceived is what was received of a bench's events.
type EventsReceived struct {
	Last     uint64 // the highest number
	Gaps     int    // numbers that were left out
	Repeated int    // received again, which is allowed
	Journal  string
}

type litLight struct {
	meaning string
	at      time.Time
	serial  uint64
}

func newSubscriber(broker, prefix string) (*subscriber, error) {
	h := &subscriber{
		prefix: prefix, more: make(chan struct{}), counts: map[string]Traffic{}, lights: map[string]litLight{}, events: map[string]*EventsReceived{},
	}
	subscribed := make(chan error, 1)
	h.client = paho.NewClient(paho.NewClientOptions().AddBroker(broker).SetClientID("plant-subscriber").
		SetConnectTimeout(lampConnect).SetWriteTimeout(lampConnect).SetAutoReconnect(false).
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { h.receive(m.Topic(), m.Payload(), time.Now()) }).
		SetOnConnectHandler(func(c paho.Client) {
			token := c.Subscribe(prefix+"/#", 1, nil)
			token.WaitTimeout(lampConnect)
			subscribed <- token.Error()
		}))
	token := h.client.Connect()
	if !token.WaitTimeout(lampConnect) || token.Error() != nil {
		return nil, fmt.Errorf("connect to %s: %w", broker, token.Error())
	}
	if err := <-subscribed; err != nil {
		h.close()
		return nil, fmt.Errorf("subscribe at %s: %w", broker, err)
	}
	return h, nil
}

func (h *subscriber) close() { h.client.Disconnect(100) }

func (h *subscriber) receive(topic string, payload []byte, at time.Time) {
	rest, ok := strings.CutPrefix(topic, h.prefix+"/")
	if !ok {
		return
	}
	bench, rest, _ := strings.Cut(rest, "/")
	word, name, _ := strings.Cut(rest, "/")
	_, form, special := strings.Cut(name, "/")
	kind := word
	if word == "light" && special {
		kind += "/" + form
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	n := h.counts[kind]
	h.counts[kind] = Traffic{n.Messages + 1, n.Bytes + uint64(len(topic)+len(payload))}
	switch {
	case word == "event":
		h.event(bench, payload)
	case word == "light" && !special:
		var v struct{ Meaning string }
		if json.Unmarshal(payload, &v) != nil {
			return
		}
		h.serial++
		h.lights[topic] = litLight{v.Meaning, at, h.serial}
		close(h.more)
		h.more = make(chan struct{})
	}
}

// event counts what is missing between two events of a bench.
func (h *subscriber) event(bench string, payload []byte) {
	var v struct {
		Seq     uint64
		Journal string
	}
	if json.Unmarshal(payload, &v) != nil {
		return
	}
	e := h.events[bench]
	if e == nil || e.Journal != v.Journal {
		e = &EventsReceived{Journal: v.Journal}
		h.events[bench] = e
	}
	switch {
	case v.Seq <= e.Last:
		e.Repeated++
	default:
		e.Gaps += int(v.Seq - e.Last - 1)
		e.Last = v.Seq
	}
}

func (h *subscriber) now() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.serial
}

// await waits until a light is told a meaning after a mark, and says when it was.
func (h *subscriber) await(ctx context.Context, topic string, mark uint64, meaning string) (time.Time, error) {
	for {
		h.mu.Lock()
		l, more := h.lights[topic], h.more
		h.mu.Unlock()
		if l.serial > mark && l.meaning == meaning {
			return l.at, nil
		}
		select {
		case <-more:
		case <-ctx.Done():
			return time.Time{}, fmt.Errorf("%s does not show %s but %s: %w", topic, meaning, l.meaning, ctx.Err())
		}
	}
}

func (h *subscriber) light(topic string) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.lights[topic].meaning
}

func (h *subscriber) traffic() map[string]Traffic {
	h.mu.Lock()
	defer h.mu.Unlock()
	return maps.Clone(h.counts)
}

func (h *subscriber) received(bench string) EventsReceived {
	h.mu.Lock()
	defer h.mu.Unlock()
	if e := h.events[bench]; e != nil {
		return *e
	}
	return EventsReceived{}
}
