package rehearsal

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"maps"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/config"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// subscriber reads everything under the prefix of the plant's topics, counts it, and checks
// that the events of each bench come in order. It connects again when its connection is lost, and the
// broker keeps its session until then.
type subscriber struct {
	prefix string
	client paho.Client

	subscribing sync.Mutex // held while a new connection subscribes
	closed      bool       // guarded by subscribing

	mu     sync.Mutex
	more   chan struct{} // closed and replaced with each light
	counts map[string]Traffic
	lights map[string]litLight // by topic
	events map[string]*EventsReceived
	serial uint64

	began      time.Time // the measurement; before it nothing of what follows is counted
	heardAt    map[string]time.Time
	pause      Pause
	delays     []time.Duration
	lost       int                  // connections of the subscriber
	lostAt     time.Time            // the newest loss
	backAt     time.Time            // the newest connection
	missing    map[string]struct{}  // topics of lights that have not come since
	back       time.Duration        // the longest time until all had come
	lampTopics map[string]time.Time // when a message of each came last, in any form
	dark       map[string]struct{}  // topics of lights that were told unknown, or nothing for too long
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

// Pause is the longest time without a message of a bench.
type Pause struct {
	Bench string
	Took  time.Duration
}

type litLight struct {
	meaning string
	at      time.Time
	serial  uint64
}

// subscriberRetry is how soon the subscriber connects again.
const subscriberRetry = 200 * time.Millisecond

func newSubscriber(o PlantOptions) (*subscriber, error) {
	h := &subscriber{
		prefix: o.Prefix, more: make(chan struct{}), counts: map[string]Traffic{}, lights: map[string]litLight{}, events: map[string]*EventsReceived{},
	}
	broker := cmp.Or(o.Reader, o.Broker)
	access, err := mqtt.FromShop(config.Shop{MQTT: o.access(broker)})
	if err != nil {
		return nil, err
	}
	subscribed := make(chan error, 1)
	options := paho.NewClientOptions().AddBroker(broker).SetClientID("plant-subscriber-" + rand.Text()[:8]).SetCleanSession(false).
		SetUsername(access.Username).SetPassword(access.Password).SetTLSConfig(access.TLS).
		SetConnectTimeout(lampConnect).SetWriteTimeout(lampConnect).SetAutoReconnect(true).SetMaxReconnectInterval(subscriberRetry).
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
			h.receive(m.Topic(), m.Payload(), m.Retained(), time.Now())
		}).
		SetConnectionLostHandler(func(paho.Client, error) { h.lose() }).
		SetOnConnectHandler(func(c paho.Client) { // the broker may have lost the session
			select {
			case subscribed <- h.subscribe(c):
			default:
			}
		})
	h.client = paho.NewClient(options)
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

// subscribe subscribes on a new connection.
func (h *subscriber) subscribe(c paho.Client) error {
	h.subscribing.Lock()
	defer h.subscribing.Unlock()
	if h.closed {
		return nil
	}
	h.connected(time.Now())
	token := c.Subscribe(h.prefix+"/#", 1, nil)
	token.WaitTimeout(lampConnect)
	return token.Error()
}

// close ends the connection, and the session that the broker keeps for it. It waits for a connection
// that subscribes, which the library does not.
func (h *subscriber) close() {
	h.client.Unsubscribe(h.prefix + "/#").WaitTimeout(time.Second)
	h.client.Disconnect(100)
	h.subscribing.Lock()
	defer h.subscribing.Unlock()
	h.closed = true
}

// begin begins to measure, once all benches are up.
func (h *subscriber) begin() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.began, h.heardAt, h.lampTopics, h.dark = time.Now(), map[string]time.Time{}, map[string]time.Time{}, map[string]struct{}{}
}

func (h *subscriber) lose() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.lost, h.lostAt = h.lost+1, time.Now()
}

// connected begins to wait for each light to come again.
func (h *subscriber) connected(at time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.lost == 0 {
		return
	}
	h.backAt, h.missing = at, map[string]struct{}{}
	for topic := range h.lights {
		h.missing[topic] = struct{}{}
	}
}

func (h *subscriber) receive(topic string, payload []byte, retained bool, at time.Time) {
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
	if !retained {
		h.heard(bench, at)
	}
	switch {
	case word == "event":
		h.event(bench, payload, at)
	case word == "light" && !special:
		var v struct {
			Time    time.Time
			Meaning string
		}
		if json.Unmarshal(payload, &v) != nil {
			return
		}
		if !retained || v.Time.After(h.lostAt) && h.lost > 0 { // a bench may be back before the subscriber
			h.lit(topic, v.Meaning, at)
		}
		h.serial++
		h.lights[topic] = litLight{v.Meaning, at, h.serial}
		close(h.more)
		h.more = make(chan struct{})
	}
}

// heard notes a message of a bench.
func (h *subscriber) heard(bench string, at time.Time) {
	if h.began.IsZero() {
		return
	}
	if last, ok := h.heardAt[bench]; ok && at.Sub(last) > h.pause.Took {
		h.pause = Pause{bench, at.Sub(last)}
	}
	h.heardAt[bench] = at
}

// lit notes a message of a light: whether it was without contact before, and whether it was the last that
// had not come since the subscriber was connected.
func (h *subscriber) lit(topic, meaning string, at time.Time) {
	if h.began.IsZero() {
		return
	}
	last, known := h.lampTopics[topic]
	if known && at.Sub(last) > view.LightValidFor || meaning == string(light.Unknown) {
		h.dark[topic] = struct{}{}
	}
	h.lampTopics[topic] = at
	if _, waited := h.missing[topic]; waited && meaning != string(light.Unknown) {
		delete(h.missing, topic)
		if len(h.missing) == 0 {
			h.back = max(h.back, at.Sub(h.backAt))
		}
	}
}

// event counts what is missing between two events of a bench.
func (h *subscriber) event(bench string, payload []byte, at time.Time) {
	var v struct {
		Time    time.Time
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
		if !h.began.IsZero() && v.Time.After(h.began) {
			h.delays = append(h.delays, at.Sub(v.Time))
		}
	}
}

// report writes what was measured since begin.
func (h *subscriber) report(r *PlantReport) {
	h.mu.Lock()
	defer h.mu.Unlock()
	now := time.Now()
	for bench := range h.heardAt {
		h.heard(bench, now) // a bench that fell silent
	}
	for topic, last := range h.lampTopics {
		if now.Sub(last) > view.LightValidFor {
			h.dark[topic] = struct{}{}
		}
	}
	r.Pause, r.Delays, r.Lost, r.Back, r.DarkLights, r.NotBack = h.pause, h.delays, h.lost, h.back, len(h.dark), len(h.missing)
	for _, e := range h.events {
		r.Gaps, r.Repeated = r.Gaps+e.Gaps, r.Repeated+e.Repeated
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
