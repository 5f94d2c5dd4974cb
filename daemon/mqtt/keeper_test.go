package mqtt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
)

// drawer is a place on disk, in memory.
type drawer struct {
	mu    sync.Mutex
	held  map[string][]byte
	fails error
}

func (d *drawer) Retained(context.Context) (map[string][]byte, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return maps.Clone(d.held), d.fails
}

func (d *drawer) KeepRetained(_ context.Context, messages map[string][]byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fails != nil {
		return d.fails
	}
	if d.held == nil {
		d.held = map[string][]byte{}
	}
	for topic, payload := range messages {
		if len(payload) == 0 {
			delete(d.held, topic)
		} else {
			d.held[topic] = bytes.Clone(payload)
		}
	}
	return nil
}

func keepingSettings(d *drawer) BrokerSettings {
	s := brokerSettings("127.0.0.1:0", true)
	s.Retained = d
	s.Lights = []Light{{ID: "light-1", Topic: "shop/lamp/set", Confirms: "shop/lamp"}, {ID: "light-2", Confirms: "shop/gone"}}
	return s
}

// A restart keeps what others had retained, has the daemon's own anew, and never shows
// anybody what the daemon said before.
func TestRestartKeepsWhatOthersRetained(t *testing.T) {
	d := &drawer{}
	s := keepingSettings(d)
	b, err := StartBroker(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	w := newWitness(t, b.Addr())
	_, stop := runPublisher(t, newRoom(), b.Own(testSettings("")))
	w.hears(t, "the light", is(root+"light/light-1/meaning", "in-order"))
	w.client.Publish("shop/gone", 1, true, "on").WaitTimeout(5 * time.Second)
	w.client.Publish("shop/gone", 1, true, "").WaitTimeout(5 * time.Second)
	w.client.Publish("shop/lamp", 1, true, "green").WaitTimeout(5 * time.Second)
	stop()
	w.client.Disconnect(100)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if len(d.held) != 1 || string(d.held["shop/lamp"]) != "green" {
		t.Fatalf("on disk: %q", d.held)
	}
	// As an older version, or another configuration, might have left them.
	d.held[root+"light/light-1"] = []byte(`{"meaning":"in-order"}`)
	d.held["shop/lamp/set"], d.held["elsewhere"] = []byte("ON"), []byte("x")

	b, err = StartBroker(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	all := b.server.Topics.Messages("#")
	if len(all) != 1 || all[0].TopicName != "shop/lamp" || string(all[0].Payload) != "green" {
		t.Errorf("restored: %v", all)
	}
	early := newWitness(t, b.Addr()) // before the daemon has said a word
	r := newRoom()
	runPublisher(t, r, b.Own(testSettings("")))
	m := early.hears(t, "the light", func(m heard) bool { return m.topic == root+"light/light-1" })
	if !strings.Contains(m.payload, r.bench.Snapshot().At.Format(time.RFC3339Nano)) {
		t.Errorf("the first word of the light is %s", m.payload)
	}
	b.guard.keeper.store()
	if _, stale := d.held["shop/lamp/set"]; stale || len(d.held) != 1 {
		t.Errorf("what is the daemon's stays on disk: %q", d.held)
	}
}

func TestKeeperIsBounded(t *testing.T) {
	d := &drawer{fails: errors.New("disk full")}
	k := &keeper{to: d, log: quietLog(), kept: map[string]bool{}, changed: map[string][]byte{}}
	for i := range 3 * mostRetained {
		for j := range 3 {
			k.keep(packets.Packet{TopicName: fmt.Sprint("t", i), Payload: fmt.Append(nil, j)})
		}
		k.store() // fails, and is remembered
	}
	if len(k.kept) != mostRetained || len(k.changed) != mostRetained {
		t.Errorf("%d topics, %d to be written; want %d", len(k.kept), len(k.changed), mostRetained)
	}
	k.keep(packets.Packet{TopicName: "t0"})
	d.fails = nil
	k.store()
	if len(d.held) != mostRetained-1 || string(d.held["t7"]) != "2" {
		t.Errorf("%d on disk, t7 is %q", len(d.held), d.held["t7"])
	}
}

// A journal that cannot be read costs what was kept and not the lights.
func TestBrokerStartsWithoutWhatWasKept(t *testing.T) {
	b, err := StartBroker(context.Background(), keepingSettings(&drawer{fails: errors.New("no disk")}), quietLog())
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
}
