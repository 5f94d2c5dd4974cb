package broker

import (
	"fmt"
	"io"
	"net"
	"reflect"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	server "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
)

// Each test here shows that a known fault of the library, or of our use of it, does not return.

// A client numbers its packets itself: a message to it with some packet id does not prevent a
// subscription with the same id.
func TestSubscribeWithAPacketIDInUse(t *testing.T) {
	b := startBroker(t, true)
	own := connectOwn(t, b)
	for i := range 8 {
		own.retain(fmt.Sprint("batch/", i), "{}")
	}
	c, err := guest(t, b, func(o *paho.ClientOptions) {
		o.SetAutoAckDisabled(true).SetDefaultPublishHandler(func(paho.Client, paho.Message) {})
	})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 8 {
		filter := []string{"potlife/#", root + "#"}[i%2]
		token := c.Subscribe(filter, 1, nil).(*paho.SubscribeToken)
		if !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil || token.Result()[filter] != 1 {
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
	if n := b.server.Listeners.Len(); n != 1 || b.listener.Protocol() != "tcp" {
		t.Errorf("%d listeners, %s", n, b.listener.Protocol())
	}
	c, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: %s\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Protocol: mqtt\r\nSec-WebSocket-Version: 13\r\n\r\n", b.Addr())
	_ = c.SetDeadline(time.Now().Add(mqtttest.Patience))
	if answer, err := io.ReadAll(c); len(answer) > 0 {
		t.Errorf("a browser is answered %q, %v", answer, err)
	}
}

// A subscriber inside the process still receives messages after others came and went. We have
// none; a change that adds one can rely on this.
func TestInlineSubscriberKeepsReceiving(t *testing.T) {
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
		t.Errorf("received %d of 100", n)
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
	long, deep := strings.Repeat("y", topics.MaxCommandBytes+1), strings.Repeat("z/", 30_000)
	var messages []mqtttest.Message
	for i := range 300 {
		command := fmt.Sprintf("%sdo/x%d", root, i)
		messages = append(messages, mqtttest.Message{Topic: command, Payload: long, Retained: true},
			mqtttest.Message{Topic: command, Payload: "{}", Retained: true}, mqtttest.Message{Topic: deep, Payload: "x", Retained: true})
	}
	publishAll(t, c, messages)
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

// Disconnected clients with a session are a bounded number, and each holds a bounded number
// of messages.
func TestDisconnectedSessionsAreBounded(t *testing.T) {
	b := startBroker(t, true)
	for i := range maxDisconnectedSessions + 20 {
		id := fmt.Sprint("away-", i)
		c, err := guest(t, b, func(o *paho.ClientOptions) { o.SetClientID(id).SetCleanSession(false) })
		if err != nil {
			t.Fatal(err)
		}
		granted(t, c, root+"event")
		c.Disconnect(50)
		mqtttest.Until(t, "the disconnection", func() bool { cl, ok := b.server.Clients.Get(id); return !ok || cl.Closed() })
	}
	b.access.checkConnections()
	sessions := func() (all []*server.Client) {
		for id, cl := range b.server.Clients.GetAll() {
			if strings.HasPrefix(id, "away-") {
				all = append(all, cl)
			}
		}
		return all
	}
	if n := len(sessions()); n != maxDisconnectedSessions {
		t.Errorf("%d sessions, want %d", n, maxDisconnectedSessions)
	}
	own := connectOwn(t, b)
	events := slices.Repeat([]mqtttest.Message{{Topic: root + "event", Payload: "{}"}}, 2*maxInflight)
	publishAll(t, own, events)
	publishAll(t, own, events[:1]) // whose acknowledgement shows that the events before it were delivered
	for _, cl := range sessions() {
		if n := cl.State.Inflight.Len(); n == 0 || n > maxInflight {
			t.Errorf("%s holds %d messages, want 1 to %d", cl.ID, n, maxInflight)
		}
	}
	b.access.checkConnections()
	b.access.mu.Lock()
	defer b.access.mu.Unlock()
	if owners, clients := len(b.access.owners), b.server.Clients.Len(); owners > clients {
		t.Errorf("%d owners of %d clients are remembered", owners, clients)
	}
}
