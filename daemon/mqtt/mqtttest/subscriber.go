// Package mqtttest has what the tests of the MQTT client and of the built-in broker share: a
// subscriber that records messages, a relay that can be cut, a real mosquitto, and
// certificates. Only tests import it.
package mqtttest

import (
	"encoding/json"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// Patience bounds every wait. It is long, since a machine under load may stand still for
// many seconds; a test that passes never waits for it.
const Patience = 2 * time.Minute

// Until waits for a condition that has no event of its own, checking it often, and fails the
// test after Patience.
func Until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	deadline := time.Now().Add(Patience)
	for !ok() {
		if time.Now().After(deadline) {
			t.Fatalf("waited in vain for %s", what)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// Done waits for a token and fails the test if it has an error.
func Done(t testing.TB, what string, token paho.Token) {
	t.Helper()
	if !token.WaitTimeout(Patience) {
		t.Fatalf("%s: no answer", what)
	}
	if err := token.Error(); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

// Message is a message as it was received.
type Message struct {
	Topic    string
	Payload  string
	Retained bool
	QoS      byte
}

// Subscriber is a client that subscribes to everything under potlife/ and records every
// message.
type Subscriber struct {
	Client        paho.Client
	subscriptions atomic.Int32

	mu   sync.Mutex
	all  []Message
	more chan struct{} // closed and replaced with each message
}

// Subscribe connects a subscriber to the broker at HOST:PORT. It connects again when the
// connection is lost.
func Subscribe(t testing.TB, address string) *Subscriber {
	t.Helper()
	s := &Subscriber{more: make(chan struct{})}
	options := paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("subscriber-" + t.Name()).
		SetProtocolVersion(4).SetAutoReconnect(true).SetConnectRetry(true).
		SetMaxReconnectInterval(200 * time.Millisecond).SetConnectRetryInterval(100 * time.Millisecond).
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
			s.mu.Lock()
			defer s.mu.Unlock()
			s.all = append(s.all, Message{m.Topic(), string(m.Payload()), m.Retained(), m.Qos()})
			close(s.more)
			s.more = make(chan struct{})
		}).
		SetWriteTimeout(time.Second).
		SetOnConnectHandler(func(c paho.Client) {
			if token := c.Subscribe("potlife/#", 1, nil); token.WaitTimeout(Patience) && token.Error() == nil {
				s.subscriptions.Add(1)
			}
		})
	s.Client = paho.NewClient(options)
	Done(t, "connect the subscriber", s.Client.Connect())
	t.Cleanup(func() { s.Client.Disconnect(100) })
	Until(t, "the subscription", func() bool { return s.Subscriptions() > 0 })
	return s
}

// Subscriptions returns how often it has subscribed: once with each connection.
func (s *Subscriber) Subscriptions() int { return int(s.subscriptions.Load()) }

// Expect waits until a message fits and returns the first one that does.
func (s *Subscriber) Expect(t testing.TB, what string, fits func(Message) bool) Message {
	t.Helper()
	return s.ExpectAfter(t, 0, what, fits)
}

// Count returns how many messages have come. ExpectAfter can start from there.
func (s *Subscriber) Count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.all)
}

// ExpectAfter is Expect without the first messages.
func (s *Subscriber) ExpectAfter(t testing.TB, from int, what string, fits func(Message) bool) Message {
	t.Helper()
	late := time.After(Patience)
	for {
		s.mu.Lock()
		for ; from < len(s.all); from++ {
			if m := s.all[from]; fits(m) {
				s.mu.Unlock()
				return m
			}
		}
		more := s.more
		s.mu.Unlock()
		select {
		case <-more:
		case <-late:
			t.Fatalf("no message: %s; received %s", what, s.Summary())
		}
	}
}

// Summary returns the number of messages and the newest 20 of them, one a line, for the text of a
// failed test.
func (s *Subscriber) Summary() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	text := fmt.Sprintf("%d messages:", len(s.all))
	for _, m := range s.all[max(0, len(s.all)-20):] {
		text += fmt.Sprintf("\n  %s %.120s", m.Topic, m.Payload)
	}
	return text
}

// Last returns the last payload of each topic.
func (s *Subscriber) Last() map[string]string {
	s.mu.Lock()
	defer s.mu.Unlock()
	last := map[string]string{}
	for _, m := range s.all {
		last[m.Topic] = m.Payload
	}
	return last
}

// On returns the messages on a topic.
func (s *Subscriber) On(topic string) []Message {
	s.mu.Lock()
	defer s.mu.Unlock()
	var found []Message
	for _, m := range s.all {
		if m.Topic == topic {
			found = append(found, m)
		}
	}
	return found
}

// Is fits a message by topic and payload.
func Is(topic, payload string) func(Message) bool {
	return func(m Message) bool { return m.Topic == topic && m.Payload == payload }
}

// JSONHas fits a message on the topic whose JSON object has the value under the key.
func JSONHas(topic, key string, value any) func(Message) bool {
	return func(m Message) bool {
		var o map[string]any
		return m.Topic == topic && json.Unmarshal([]byte(m.Payload), &o) == nil && o[key] == value
	}
}
