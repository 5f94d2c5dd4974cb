package mqtt

import (
	"context"
	"fmt"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/mochi-mqtt/server/v2/packets"

	"potlifed/daemon/view"
)

func brokerSettings(listen string, commands bool) BrokerSettings {
	return BrokerSettings{Listen: listen, Topics: NewTopics("potlife", "bench-1"), Commands: commands, Lights: testSettings("").Lights}
}

func startBroker(t testing.TB, commands bool) *Broker {
	t.Helper()
	b, err := StartBroker(context.Background(), brokerSettings("127.0.0.1:0", commands), quietLog())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

// guest connects as anybody on the machine would, and counts its connections.
func guest(t testing.TB, b *Broker, change func(*paho.ClientOptions)) (paho.Client, error) {
	t.Helper()
	o := paho.NewClientOptions().AddBroker("tcp://" + b.reach()).SetClientID("guest").SetProtocolVersion(4).
		SetAutoReconnect(false).SetConnectTimeout(2 * time.Second)
	if change != nil {
		change(o)
	}
	c := paho.NewClient(o)
	token := c.Connect()
	if !token.WaitTimeout(5 * time.Second) {
		t.Fatal("no answer to a connect")
	}
	t.Cleanup(func() { c.Disconnect(50) })
	return c, token.Error()
}

func TestGuestsMayOnlyCommand(t *testing.T) {
	for _, commands := range []bool{true, false} {
		t.Run(fmt.Sprintf("commands %v", commands), func(t *testing.T) {
			b := startBroker(t, commands)
			w := newWitness(t, b.Addr())
			lost := make(chan error, 1)
			c, err := guest(t, b, func(o *paho.ClientOptions) {
				o.SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
			})
			if err != nil {
				t.Fatal(err)
			}
			refused := []string{"light/light-1/meaning", "batch/0612-1", "availability", "do", "do/a/b", "done/load", "event"}
			if !commands {
				refused = append(refused, "do/load")
			}
			for _, topic := range refused {
				for qos := range byte(3) {
					token := c.Publish(root+topic, qos, true, "in-order")
					if !token.WaitTimeout(5*time.Second) || token.Error() != nil {
						t.Fatalf("%s, QoS %d: %v; a refusal must not break the connection", topic, qos, token.Error())
					}
				}
			}
			if token := c.Publish("elsewhere/x", 1, true, "x"); !token.WaitTimeout(5 * time.Second) {
				t.Fatal("no acknowledgement")
			}
			if want := uint64(3*len(refused) + 1); b.Refusals()[actionPublish] != want {
				t.Errorf("refusals %v, want %d", b.Refusals(), want)
			}
			if commands {
				c.Publish(root+"do/load", 1, false, "{}")
				w.hears(t, "the command", is(root+"do/load", "{}"))
			}
			if got := w.mark(); commands && got != 1 || !commands && got != 0 {
				t.Errorf("went through: %s", w.summary())
			}
			select {
			case err := <-lost:
				t.Errorf("a refusal broke the connection: %v", err)
			default:
			}
		})
	}
}

func TestGuestsAreNotTheDaemon(t *testing.T) {
	b := startBroker(t, true)
	own := b.Own(testSettings(""))
	if _, err := guest(t, b, func(o *paho.ClientOptions) { o.SetUsername(own.Username).SetPassword("guess") }); err == nil {
		t.Error("somebody came in under the daemon's name without its secret")
	}
	if _, err := guest(t, b, func(o *paho.ClientOptions) { o.SetUsername(own.Username) }); err == nil {
		t.Error("somebody came in under the daemon's name without a password")
	}
	if _, err := guest(t, b, func(o *paho.ClientOptions) { o.SetClientID(own.clientID()) }); err == nil {
		t.Error("somebody took a client id of the daemon")
	}
	if _, err := guest(t, b, func(o *paho.ClientOptions) { o.SetUsername("anybody").SetPassword("x") }); err != nil {
		t.Errorf("a guest with a name was turned away: %v", err)
	}
}

// A will of a guest on our topics is not sent; the guest is let in all the same.
func TestGuestsLeaveNoWill(t *testing.T) {
	b := startBroker(t, true)
	w := newWitness(t, b.Addr())
	cable := newRelay(t, b.Addr())
	for i, topic := range []string{root + "light/light-1/meaning", root + "do/good"} {
		o := paho.NewClientOptions().AddBroker("tcp://"+cable.addr()).SetClientID(fmt.Sprintf("guest-%d", i)).
			SetAutoReconnect(false).SetProtocolVersion(4).SetWill(topic, "in-order", 1, true)
		c := paho.NewClient(o)
		if token := c.Connect(); !token.WaitTimeout(5*time.Second) || token.Error() != nil {
			t.Fatalf("a guest with a will was turned away: %v", token.Error())
		}
		defer c.Disconnect(50)
	}
	cable.cut()
	w.hears(t, "the will that is a command", is(root+"do/good", "in-order"))
	if got := w.on(root + "light/light-1/meaning"); len(got) > 0 {
		t.Errorf("a guest's will turned a light: %v", got)
	}
	if b.Refusals()[actionWill] != 1 {
		t.Errorf("refusals %v, want one of a will", b.Refusals())
	}
}

// Everything that the publisher sends passes the rules, over one connection each.
func TestOwnClientsAreNotRefused(t *testing.T) {
	b := startBroker(t, true)
	w := newWitness(t, b.Addr())
	r := newRoom()
	p, stop := runPublisher(t, r, b.Own(testSettings("")))
	for range 200 {
		r.event("0612-1", nil)
	}
	w.hears(t, "the last event", jsonHas(root+"event", "seq", 200.0))
	until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
	if n := p.Status().Messages[Count{"out", "error"}]; n > 0 || refusedAtAll(b) > 0 {
		t.Errorf("%d messages failed, refusals %v", n, b.Refusals())
	}
	if epoch, _ := p.conn.current(); epoch != 1 {
		t.Errorf("%d connections, want one", epoch)
	}
	stop()
}

func refusedAtAll(b *Broker) (n uint64) {
	for _, count := range b.Refusals() {
		n += count
	}
	return n
}

func TestTwoBrokersOnOnePort(t *testing.T) {
	b := startBroker(t, true)
	if second, err := StartBroker(t.Context(), brokerSettings(b.Addr(), true), quietLog()); err == nil {
		_ = second.Close()
		t.Error("two brokers on one port")
	}
}

func TestBrokerKnowsItsAddress(t *testing.T) {
	b := startBroker(t, true)
	_, port, err := net.SplitHostPort(b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	for address, want := range map[string]bool{
		"mqtt://127.0.0.1:" + port: true, "mqtt://localhost:" + port: true, "mqtts://127.0.0.1:" + port: false,
		"mqtt://127.0.0.1:1": false, "mqtt://192.0.2.1:" + port: false, "": false,
	} {
		if got := b.Serves(address); got != want {
			t.Errorf("%q is this broker: %v, want %v", address, got, want)
		}
	}
}

// A visitor that connects and says nothing must not keep the broker from stopping.
func TestBrokerStopsDespiteASilentVisitor(t *testing.T) {
	b := startBroker(t, true)
	c, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	until(t, "the visitor to be seen", func() bool {
		b.door.mu.Lock()
		defer b.door.mu.Unlock()
		return len(b.door.conns) == 1
	})
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	_ = c.SetReadDeadline(time.Now().Add(5 * time.Second))
	if _, err := io.ReadAll(c); err != nil && strings.Contains(err.Error(), "timeout") {
		t.Error("the visitor's connection is still open")
	}
	if err := b.Close(); err != nil {
		t.Errorf("second close: %v", err)
	}
}

func TestOversizedPacketCostsItsConnection(t *testing.T) {
	b := startBroker(t, true)
	lost := make(chan error, 1)
	c, err := guest(t, b, func(o *paho.ClientOptions) {
		o.SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	})
	if err != nil {
		t.Fatal(err)
	}
	c.Publish(root+"do/load", 0, false, strings.Repeat("x", maxPacketBytes+1))
	select {
	case <-lost:
	case <-time.After(5 * time.Second):
		t.Error("a packet beyond the bound was taken")
	}
}

// Retained states live for as long as the broker: the clock may jump by decades.
func TestRetainedOutliveAClockStep(t *testing.T) {
	b := startBroker(t, true)
	w := newWitness(t, b.Addr())
	runPublisher(t, newRoom(), b.Own(testSettings("")))
	w.hears(t, "the batch", jsonHas(root+"batch/0612-1", "ink", "dial-satin"))
	until(t, "the state to be held", func() bool {
		_, ok := b.server.Topics.Retained.Get(root + "batch/0612-1")
		return ok
	})
	pk, _ := b.server.Topics.Retained.Get(root + "batch/0612-1")
	pk.Created = 0 // as if the clock had stood at 1970 then
	b.server.Topics.Retained.Add(root+"batch/0612-1", pk)
	// The library looks every second; when it has dropped this, it has looked.
	b.server.Topics.Retained.Add("expired", packets.Packet{ProtocolVersion: 5, TopicName: "expired", Created: 1, Expiry: 2})
	until(t, "the library to look", func() bool {
		_, ok := b.server.Topics.Retained.Get("expired")
		return !ok
	})
	if _, ok := b.server.Topics.Retained.Get(root + "batch/0612-1"); !ok {
		t.Error("a retained state was dropped for its age")
	}
	if pk.Expiry < 0 {
		t.Errorf("expiry %d overflowed", pk.Expiry)
	}
}

// Subscriptions with wildcards come while topics are retained for the first time and
// ended. The race detector tells whether the library's index is read half written.
func TestSubscribingWhileTopicsComeAndGo(t *testing.T) {
	b := startBroker(t, true)
	s := b.Own(testSettings(""))
	publisher := &connection{settings: s, id: s.clientID(), wake: make(chan struct{}, 1), log: quietLog(), prepare: noOptions}
	client, _, err := publisher.connect(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer client.Disconnect(quiesceMs)
	publisher.set(client, nil)
	g, err := guest(t, b, nil)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for range 500 {
			token := g.Subscribe("potlife/#", 1, nil)
			if !token.WaitTimeout(5*time.Second) || token.Error() != nil {
				t.Errorf("subscribe: %v", token.Error())
				return
			}
		}
	}()
	for i := range 500 {
		topic := fmt.Sprintf("%sbatch/0612-%d", root, i)
		for _, err := range publisher.send([]message{{topic, 1, true, []byte("{}")}, {topic, 1, true, nil}}, writeTimeout) {
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	<-done
}

// A client that subscribes to everything and never reads costs the others nothing.
func TestDeafClientHoldsNobodyUp(t *testing.T) {
	b := startBroker(t, true)
	deaf, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer deaf.Close()
	_ = deaf.(*net.TCPConn).SetReadBuffer(4096)
	hello := []byte{0x10, 16, 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 0, 0, 4, 'd', 'e', 'a', 'f'} // no keep-alive
	subscribe := []byte{0x82, 6, 0, 1, 0, 1, '#', 1}
	if _, err := deaf.Write(append(hello, subscribe...)); err != nil {
		t.Fatal(err)
	}
	w := newWitness(t, b.Addr())
	r := newRoom()
	runPublisher(t, r, b.Own(testSettings("")), func(p *Publisher) { p.pause = 0 })
	for i := range 100 { // 20 MB, beyond what sockets hold
		r.event("0612-1", func(s *view.Snapshot) { s.Air[0].Why = fmt.Sprint(i, strings.Repeat("x", 200_000)) })
		w.hears(t, "the event", jsonHas(root+"event", "seq", float64(i+1)))
	}
	w.hears(t, "the light", is(root+"light/light-1/meaning", "in-order"))
}
