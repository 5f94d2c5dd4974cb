package mqtt

import (
	"context"
	"fmt"
	"io"
	"net"
	"reflect"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	server "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// Each test here keeps a trap of brokers inside a process from snapping again.

// A client numbers its packets by itself: that a message to it bears a number must not
// keep it from subscribing under the same one.
func TestSubscribingUnderANumberInUse(t *testing.T) {
	b := startBroker(t, true)
	runPublisher(t, newRoom(), b.Own(testSettings("")))
	w := newWitness(t, b.Addr())
	w.hears(t, "the batch", jsonHas(root+"batch/0612-1", "ink", "dial-satin"))
	c, err := guest(t, b, func(o *paho.ClientOptions) {
		o.SetAutoAckDisabled(true).SetDefaultPublishHandler(func(paho.Client, paho.Message) {})
	})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 8 {
		filter := []string{"potlife/#", root + "#"}[i%2]
		token := c.Subscribe(filter, 1, nil).(*paho.SubscribeToken)
		if !token.WaitTimeout(5*time.Second) || token.Error() != nil || token.Result()[filter] != 1 {
			t.Fatalf("subscription %d: %v, %v", i+1, token.Result(), token.Error())
		}
	}
}

// A literal of the library's limits would set all the others to zero: no retained
// messages, no wildcards, no QoS.
func TestLimitsForbidNothingByAccident(t *testing.T) {
	ours, theirs := reflect.ValueOf(*limits()), reflect.ValueOf(*server.NewDefaultServerCapabilities())
	meant := map[string]bool{
		"MaximumMessageExpiryInterval": true, "MaximumPacketSize": true, "MaximumClients": true, "MaximumClientWritesPending": true,
		"MaximumInflight": true, "MaximumSessionExpiryInterval": true, "TopicAliasMaximum": true,
	}
	for i := range ours.NumField() {
		name := ours.Type().Field(i).Name
		if !meant[name] && !ours.Field(i).Equal(theirs.Field(i)) {
			t.Errorf("%s is %v, the library's own is %v", name, ours.Field(i), theirs.Field(i))
		}
	}
}

// There is no WebSocket: a page in somebody's browser cannot be a client.
func TestNoWebSocket(t *testing.T) {
	b := startBroker(t, true)
	if n := b.server.Listeners.Len(); n != 1 || b.door.Protocol() != "tcp" {
		t.Errorf("%d listeners, %s", n, b.door.Protocol())
	}
	c, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: %s\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Protocol: mqtt\r\nSec-WebSocket-Version: 13\r\n\r\n", b.Addr())
	_ = c.SetDeadline(time.Now().Add(2 * handshakeTimeout))
	if answer, err := io.ReadAll(c); len(answer) > 0 {
		t.Errorf("a browser is answered %q, %v", answer, err)
	}
}

// A subscriber inside the process still hears after others came and went. We have none;
// whoever adds one finds here that the library's version can be trusted with it.
func TestInlineSubscriberStaysAwake(t *testing.T) {
	s := server.New(&server.Options{InlineClient: true, Logger: quietLog(), Capabilities: limits()})
	if err := s.Serve(); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var seen atomic.Int32
	if err := s.Subscribe("a/+", 1, func(*server.Client, packets.Subscription, packets.Packet) { seen.Add(1) }); err != nil {
		t.Fatal(err)
	}
	for i := range 100 {
		s.Topics.Subscribe("x", packets.Subscription{Filter: "a/+"})
		s.Topics.Unsubscribe("a/+", "x")
		if err := s.Publish("a/b", []byte("1"), i%2 == 0, 0); err != nil {
			t.Fatal(err)
		}
	}
	if n := seen.Load(); n != 100 {
		t.Errorf("heard %d of 100", n)
	}
}

// What one client can make the broker hold is bounded: subscriptions, their length,
// long messages, topics that are retained, aliases.
func TestOneClientIsBounded(t *testing.T) {
	b := startBroker(t, true)
	c, err := guest(t, b, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 3 * maxFilters {
		granted(t, c, fmt.Sprintf("%sbatch/%d", root, i))
	}
	granted(t, c, strings.Repeat("x/", 20_000)+"#")
	cl, _ := b.server.Clients.Get("guest")
	if n := cl.State.Subscriptions.Len(); n != maxFilters {
		t.Errorf("%d subscriptions, want %d", n, maxFilters)
	}
	for i := range 300 {
		c.Publish(fmt.Sprintf("%sdo/x%d", root, i), 1, true, strings.Repeat("y", maxCommandBytes+1)).WaitTimeout(5 * time.Second)
		c.Publish(fmt.Sprintf("%sdo/x%d", root, i), 1, true, "{}").WaitTimeout(5 * time.Second)
		c.Publish(strings.Repeat("z/", 30_000), 1, true, "x").WaitTimeout(5 * time.Second)
	}
	if held := b.server.Topics.Messages("potlife/#"); len(held) > 0 {
		t.Errorf("%d messages of a guest are retained", len(held))
	}
	if !c.IsConnectionOpen() {
		t.Error("the connection broke")
	}
	if n := b.Refusals(); n[actionSubscribe] != 2*maxFilters+1 || n[actionPublish] != 600 {
		t.Errorf("refusals %v", n)
	}
	if limits().TopicAliasMaximum != 0 {
		t.Error("a client of MQTT 5 may have 65535 topics remembered")
	}
}

// Clients that keep a session and stay away hold a bounded number of messages, and are
// a bounded number.
func TestClientsThatAreAwayAreBounded(t *testing.T) {
	b := startBroker(t, true)
	for i := range mostAway + 20 {
		c, err := guest(t, b, func(o *paho.ClientOptions) { o.SetClientID(fmt.Sprint("away-", i)).SetCleanSession(false) })
		if err != nil {
			t.Fatal(err)
		}
		granted(t, c, root+"event")
		c.Disconnect(50)
	}
	until(t, "the oldest to be forgotten", func() bool {
		away := 0
		for id := range b.server.Clients.GetAll() {
			if strings.HasPrefix(id, "away-") {
				away++
			}
		}
		return away == mostAway
	})
	r := newRoom()
	w := newWitness(t, b.Addr())
	runPublisher(t, r, b.Own(testSettings("")), func(p *Publisher) { p.pause = 0 })
	for range 2 * maxInflight {
		r.event("0612-1", nil)
	}
	w.hears(t, "the last event", jsonHas(root+"event", "seq", 2.0*maxInflight))
	for id, cl := range b.server.Clients.GetAll() {
		if n := cl.State.Inflight.Len(); strings.HasPrefix(id, "away-") && (n == 0 || n > maxInflight) {
			t.Errorf("%s holds %d messages", id, n)
		}
	}
	until(t, "nobody but members to be remembered", func() bool {
		b.guard.mu.Lock()
		defer b.guard.mu.Unlock()
		return len(b.guard.members) <= b.server.Clients.Len()
	})
}

// Visitors who never introduce themselves cannot use up the computer's sockets.
func TestVisitorsAreBounded(t *testing.T) {
	b := startBroker(t, true)
	for range maxVisitors + 50 {
		c, err := net.Dial("tcp", b.Addr())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
	}
	until(t, "the door to be full", func() bool {
		b.door.mu.Lock()
		defer b.door.mu.Unlock()
		return len(b.door.conns) == maxVisitors
	})
}

// Ten thousand commands, most of them spoilt, in one go: the reader stays awake, and
// what comes after is obeyed.
func TestFloodOfBadCommands(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newRoom()
		var obeyed atomic.Int32
		r.bench.do = func(context.Context, request.Request) (request.Reply, error) {
			obeyed.Add(1)
			return request.Reply{OnDisk: true}, nil
		}
		w := newWitness(t, b.addr())
		p, _ := runPublisher(t, r, b.settings())
		until(t, "the connection", p.Connected)
		flood := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.addr()).SetClientID("flood").SetMessageChannelDepth(10))
		if token := flood.Connect(); !token.WaitTimeout(5*time.Second) || token.Error() != nil {
			t.Fatal(token.Error())
		}
		defer flood.Disconnect(50)
		bad := []string{
			"", "{", "null", "[]", `{"ref":1}`, `{"ref":"x","at":5}`, `{"ref":"x","ref":"y"}`, "\xff\xfe", strings.Repeat("[", 5000),
			`{"ref":"x","at":"2026-01-01T00:00:00Z","batch":{}}`, strings.Repeat("x", 2*maxCommandBytes), commandAt("old", time.Now().Add(-time.Hour), ""),
		}
		verbs := []string{"good", "load", "no-such-verb", "mix", "Ü", "a b", strings.Repeat("v", 200), "close"}
		for i := range 10_000 {
			payload := bad[i%len(bad)]
			if len(payload) > 1000 && i%100 > 0 {
				payload = bad[i%8]
			}
			flood.Publish(root+"do/"+verbs[i%len(verbs)], byte(i%2), false, payload)
		}
		before := obeyed.Load()
		until(t, "a good command to be obeyed", func() bool {
			publishCommand(t, w, "good", commandAt(fmt.Sprint("good-", time.Now().UnixNano()), time.Now(), `,"batch":"0612-1"`))
			return obeyed.Load() > before
		})
		if before > 0 {
			t.Errorf("%d bad commands reached the bench", before)
		}
		r.bench.change(func(s *view.Snapshot) { s.Air = []view.Air{airView(s.At, 33, 50)} })
		w.hears(t, "air", jsonHas(root+"air/bench", "temperature_c", 33.0))
		if epoch, _ := p.conn.current(); epoch != 1 {
			t.Errorf("the connection broke: it is the %dth", epoch)
		}
	})
}
