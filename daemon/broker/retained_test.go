package broker

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"potlifed/daemon/mqtt/mqtttest"
	"sync"
	"testing"

	"github.com/mochi-mqtt/server/v2/packets"
)

// memoryStore is a RetainedStore in memory.
type memoryStore struct {
	mu     sync.Mutex
	stored map[string][]byte
	fails  error
}

func (m *memoryStore) Retained(context.Context) (map[string][]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return maps.Clone(m.stored), m.fails
}

func (m *memoryStore) KeepRetained(_ context.Context, messages map[string][]byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fails != nil {
		return m.fails
	}
	if m.stored == nil {
		m.stored = map[string][]byte{}
	}
	for topic, payload := range messages {
		if len(payload) == 0 {
			delete(m.stored, topic)
		} else {
			m.stored[topic] = bytes.Clone(payload)
		}
	}
	return nil
}

func storingSettings(m *memoryStore) Settings {
	s := testSettings("127.0.0.1:0", true)
	s.Retained = m
	s.Lights = []Light{{ID: "light-1", Topic: "shop/lamp/set", Confirms: "shop/lamp"}, {ID: "light-2", Confirms: "shop/gone"}}
	return s
}

// A restart keeps the retained messages of others and none of the daemon's: a subscriber
// never receives an old one.
func TestRestartKeepsWhatOthersRetained(t *testing.T) {
	d := &memoryStore{}
	s := storingSettings(d)
	b, err := Start(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	w := mqtttest.Subscribe(t, b.Addr())
	own := connectOwn(t, b)
	own.retain("light/light-1/meaning", "in-order")
	w.Expect(t, "the light", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
	w.Client.Publish("shop/gone", 1, true, "on").WaitTimeout(mqtttest.Patience)
	w.Client.Publish("shop/gone", 1, true, "").WaitTimeout(mqtttest.Patience)
	w.Client.Publish("shop/lamp", 1, true, "green").WaitTimeout(mqtttest.Patience)
	own.Disconnect(100)
	w.Client.Disconnect(100)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if len(d.stored) != 1 || string(d.stored["shop/lamp"]) != "green" {
		t.Fatalf("on disk: %q", d.stored)
	}
	// As an older version, or another configuration, might have left them.
	d.stored[root+"light/light-1"] = []byte(`{"meaning":"in-order"}`)
	d.stored["shop/lamp/set"], d.stored["elsewhere"] = []byte("ON"), []byte("x")

	b, err = Start(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	all := b.server.Topics.Messages("#")
	if len(all) != 1 || all[0].TopicName != "shop/lamp" || string(all[0].Payload) != "green" {
		t.Errorf("restored: %v", all)
	}
	early := mqtttest.Subscribe(t, b.Addr()) // before the daemon has published anything
	connectOwn(t, b).retain("light/light-1", "new")
	m := early.Expect(t, "the light", func(m mqtttest.Message) bool { return m.Topic == root+"light/light-1" })
	if m.Payload != "new" {
		t.Errorf("the first message of the light is %s", m.Payload)
	}
	b.access.retained.store()
	if _, stale := d.stored["shop/lamp/set"]; stale || len(d.stored) != 1 {
		t.Errorf("a topic of the daemon stays on disk: %q", d.stored)
	}
}

func TestRetainedMessagesAreBounded(t *testing.T) {
	d := &memoryStore{fails: errors.New("disk full")}
	m := &retainedMessages{disk: d, log: quietLog(), stored: map[string]bool{}, unsaved: map[string][]byte{}}
	for i := range 3 * maxStoredTopics {
		for j := range 3 {
			m.changed(packets.Packet{TopicName: fmt.Sprint("t", i), Payload: fmt.Append(nil, j)})
		}
		m.store() // fails, and is tried again
	}
	if len(m.stored) != maxStoredTopics || len(m.unsaved) != maxStoredTopics {
		t.Errorf("%d topics, %d to be written; want %d", len(m.stored), len(m.unsaved), maxStoredTopics)
	}
	m.changed(packets.Packet{TopicName: "t0"})
	d.fails = nil
	m.store()
	if len(d.stored) != maxStoredTopics-1 || string(d.stored["t7"]) != "2" {
		t.Errorf("%d on disk, t7 is %q", len(d.stored), d.stored["t7"])
	}
}

// The broker starts although the stored messages cannot be read.
func TestBrokerStartsWithoutStoredMessages(t *testing.T) {
	b, err := Start(context.Background(), storingSettings(&memoryStore{fails: errors.New("no disk")}), quietLog())
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
}
