package broker

import (
	"context"
	"fmt"
	"io"
	"net"
	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/mochi-mqtt/server/v2/packets"
)

func testSettings(listen string, commands bool) Settings {
	return Settings{Listen: listen, Topics: topics.New("potlife", "bench-1"), Commands: commands, Lights: []Light{{ID: "light-1"}}}
}

func startBroker(t testing.TB, commands bool) *Broker {
	t.Helper()
	b, err := Start(context.Background(), testSettings("127.0.0.1:0", commands), quietLog())
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

// guest connects a client without a user, which change may alter. The error is the broker's
// refusal.
func guest(t testing.TB, b *Broker, change func(*paho.ClientOptions)) (paho.Client, error) {
	t.Helper()
	o := paho.NewClientOptions().AddBroker("tcp://" + b.localAddress()).SetClientID("guest").SetProtocolVersion(4).
		SetAutoReconnect(false).SetConnectTimeout(mqtttest.Patience)
	if change != nil {
		change(o)
	}
	c := paho.NewClient(o)
	token := c.Connect()
	if !token.WaitTimeout(mqtttest.Patience) {
		t.Fatal("no answer to a connect")
	}
	t.Cleanup(func() { c.Disconnect(50) })
	return c, token.Error()
}

func TestGuestsMayOnlyCommand(t *testing.T) {
	for _, commands := range []bool{true, false} {
		t.Run(fmt.Sprintf("commands %v", commands), func(t *testing.T) {
			b := startBroker(t, commands)
			w := mqtttest.Subscribe(t, b.Addr())
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
					if !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
						t.Fatalf("%s, QoS %d: %v; a refusal must not break the connection", topic, qos, token.Error())
					}
				}
			}
			if token := c.Publish("elsewhere/x", 1, true, "x"); !token.WaitTimeout(mqtttest.Patience) {
				t.Fatal("no acknowledgement")
			}
			if want := uint64(3*len(refused) + 1); b.Refusals()[actionPublish] != want {
				t.Errorf("refusals %v, want %d", b.Refusals(), want)
			}
			if commands {
				c.Publish(root+"do/load", 1, false, "{}")
				w.Expect(t, "the command", mqtttest.Is(root+"do/load", "{}"))
			}
			if got := w.Count(); commands && got != 1 || !commands && got != 0 {
				t.Errorf("went through: %s", w.Summary())
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
	own := b.OwnClients()
	if _, err := guest(t, b, func(o *paho.ClientOptions) { o.SetUsername(own.Username).SetPassword("guess") }); err == nil {
		t.Error("somebody came in under the daemon's name without its secret")
	}
	if _, err := guest(t, b, func(o *paho.ClientOptions) { o.SetUsername(own.Username) }); err == nil {
		t.Error("somebody came in under the daemon's name without a password")
	}
	if _, err := guest(t, b, func(o *paho.ClientOptions) { o.SetClientID(topics.ClientPrefix + "bench-1") }); err == nil {
		t.Error("somebody took a client id of the daemon")
	}
	if _, err := guest(t, b, func(o *paho.ClientOptions) { o.SetUsername("anybody").SetPassword("x") }); err != nil {
		t.Errorf("a guest with a user name was refused: %v", err)
	}
}

// A will of a guest on a topic of the daemon is not published; the guest may connect without it.
func TestGuestsLeaveNoWill(t *testing.T) {
	b := startBroker(t, true)
	w := mqtttest.Subscribe(t, b.Addr())
	relay := mqtttest.NewRelay(t, b.Addr())
	for i, topic := range []string{root + "light/light-1/meaning", root + "do/good"} {
		o := paho.NewClientOptions().AddBroker("tcp://"+relay.Addr()).SetClientID(fmt.Sprintf("guest-%d", i)).
			SetAutoReconnect(false).SetProtocolVersion(4).SetWill(topic, "in-order", 1, true)
		c := paho.NewClient(o)
		if token := c.Connect(); !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
			t.Fatalf("a guest with a will was refused: %v", token.Error())
		}
		defer c.Disconnect(50)
	}
	relay.Cut()
	w.Expect(t, "the will that is a command", mqtttest.Is(root+"do/good", "in-order"))
	if got := w.On(root + "light/light-1/meaning"); len(got) > 0 {
		t.Errorf("a guest's will turned a light: %v", got)
	}
	if b.Refusals()[actionWill] != 1 {
		t.Errorf("refusals %v, want one of a will", b.Refusals())
	}
}

func TestTwoBrokersOnOnePort(t *testing.T) {
	b := startBroker(t, true)
	if second, err := Start(t.Context(), testSettings(b.Addr(), true), quietLog()); err == nil {
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

// A connection that sends nothing does not delay a stop.
func TestSilentConnectionDoesNotDelayAStop(t *testing.T) {
	b := startBroker(t, true)
	c, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	mqtttest.Until(t, "the connection to be registered", func() bool {
		b.listener.mu.Lock()
		defer b.listener.mu.Unlock()
		return len(b.listener.conns) == 1
	})
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	_ = c.SetReadDeadline(time.Now().Add(mqtttest.Patience))
	if _, err := io.ReadAll(c); err != nil && strings.Contains(err.Error(), "timeout") {
		t.Error("the connection is still open")
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
	case <-time.After(mqtttest.Patience):
		t.Error("a packet beyond the bound was taken")
	}
}

// Retained states live for as long as the broker: the clock may jump by decades.
func TestRetainedOutliveAClockStep(t *testing.T) {
	b := startBroker(t, true)
	const topic = root + "batch/0612-1"
	connectOwn(t, b).retain("batch/0612-1", "{}")
	mqtttest.Until(t, "the message to be retained", func() bool {
		_, ok := b.server.Topics.Retained.Get(topic)
		return ok
	})
	pk, _ := b.server.Topics.Retained.Get(topic)
	pk.Created = 0 // as if the clock had shown 1970 then
	b.server.Topics.Retained.Add(topic, pk)
	// The library checks every second; it has checked when it has removed this message.
	b.server.Topics.Retained.Add("expired", packets.Packet{ProtocolVersion: 5, TopicName: "expired", Created: 1, Expiry: 2})
	mqtttest.Until(t, "the library's check", func() bool {
		_, ok := b.server.Topics.Retained.Get("expired")
		return !ok
	})
	if _, ok := b.server.Topics.Retained.Get(topic); !ok {
		t.Error("a retained message was removed for its age")
	}
	if pk.Expiry < 0 {
		t.Errorf("expiry %d overflowed", pk.Expiry)
	}
}

// Subscriptions with wildcards come while topics are retained for the first time and
// ended. The race detector tells whether the library's index is read half written.
func TestSubscribingWhileTopicsComeAndGo(t *testing.T) {
	b := startBroker(t, true)
	own := connectOwn(t, b)
	g, err := guest(t, b, nil)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for range 500 {
			token := g.Subscribe("potlife/#", 1, nil)
			if !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
				t.Errorf("subscribe: %v", token.Error())
				return
			}
		}
	}()
	var messages []mqtttest.Message
	for i := range 500 {
		topic := fmt.Sprintf("%sbatch/0612-%d", root, i)
		messages = append(messages, mqtttest.Message{Topic: topic, Payload: "{}", Retained: true}, mqtttest.Message{Topic: topic, Retained: true})
	}
	publishAll(t, own, messages)
	<-done
}

// A client that subscribes to everything and never reads does not delay the others.
func TestClientThatNeverReadsDelaysNobody(t *testing.T) {
	b := startBroker(t, true)
	silent, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	_ = silent.(*net.TCPConn).SetReadBuffer(4096)
	connect := []byte{0x10, 16, 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 0, 0, 4, 'd', 'e', 'a', 'f'} // no keep-alive
	subscribe := []byte{0x82, 6, 0, 1, 0, 1, '#', 1}
	if _, err := silent.Write(append(connect, subscribe...)); err != nil {
		t.Fatal(err)
	}
	w := mqtttest.Subscribe(t, b.Addr())
	own := connectOwn(t, b)
	text := strings.Repeat("x", 200_000)
	for i := range 100 { // 20 MB, more than sockets buffer
		from, payload := w.Count(), fmt.Sprint(i, text)
		mqtttest.Done(t, "publish an event", own.Publish(root+"event", 1, false, payload))
		w.ExpectAfter(t, from, "the event", mqtttest.Is(root+"event", payload))
	}
	own.retain("light/light-1/meaning", "in-order")
	w.Expect(t, "the light", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
}
