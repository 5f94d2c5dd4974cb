package broker

import (
	"context"
	"fmt"
	"net"
	"net/url"
	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// userList is a list of users that can be changed.
type userList struct {
	mu    sync.Mutex
	users map[string]User
}

func (b *userList) Find(name string) (User, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	u, ok := b.users[name]
	return u, ok
}

func (b *userList) add(name string, lights []string, verbs ...string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.users == nil {
		b.users = map[string]User{}
	}
	b.users[name] = User{
		Name: name, Hash: fmt.Sprint(len(b.users), name), Lights: lights,
		Is:  func(password string) bool { return password == passwordOf(name) },
		May: func(verb string) bool { return slices.Contains(verbs, verb) },
	}
}

func (b *userList) revoke(name string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.users, name)
}

func passwordOf(name string) string { return name + "-secret" }

func as(name string) func(*paho.ClientOptions) {
	return func(o *paho.ClientOptions) {
		o.SetClientID("client-" + name).SetUsername(name).SetPassword(passwordOf(name))
	}
}

// onAllAddresses starts a broker on every address, with users.
func onAllAddresses(t *testing.T, users *userList) *Broker {
	t.Helper()
	s := testSettings("0.0.0.0:0", true)
	s.Users = users
	s.Lights = append(s.Lights, Light{ID: "lamp-2", Topic: "shop/lamp-2/set", Confirms: "shop/lamp-2"})
	b, err := Start(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

// refusedQoS is the return code of a refused subscription (MQTT 3.1.1, 3.9.3).
const refusedQoS = 0x80

// granted subscribes and returns the QoS that was granted, refusedQoS where it was refused.
func granted(t testing.TB, c paho.Client, filter string) byte {
	t.Helper()
	token := c.Subscribe(filter, 1, func(paho.Client, paho.Message) {}).(*paho.SubscribeToken)
	if !token.WaitTimeout(mqtttest.Patience) {
		t.Fatalf("subscribe %s: no answer", filter)
	}
	return token.Result()[filter]
}

func TestUsersAreRequiredBeyondLoopback(t *testing.T) {
	users := &userList{}
	users.add("board", nil)
	b := onAllAddresses(t, users)
	own := b.OwnClients()
	if !strings.HasPrefix(own.URL, "mqtt://127.0.0.1:") || !b.Serves(own.URL) {
		t.Errorf("the address for the daemon is %s", own.URL)
	}
	for name, change := range map[string]func(*paho.ClientOptions){
		"nobody":           nil,
		"an unknown user":  as("stranger"),
		"a wrong password": func(o *paho.ClientOptions) { o.SetUsername("board").SetPassword("guess") },
		"an empty one":     func(o *paho.ClientOptions) { o.SetUsername("board") },
		"the daemon's id":  func(o *paho.ClientOptions) { as("board")(o); o.SetClientID(topics.ClientPrefix + "bench-1") },
		"an id too long":   func(o *paho.ClientOptions) { as("board")(o); o.SetClientID(strings.Repeat("x", 5000)) },
	} {
		if _, err := guest(t, b, change); err == nil {
			t.Errorf("%s may connect", name)
		}
	}
	if _, err := guest(t, b, as("board")); err != nil {
		t.Errorf("a user may not connect: %v", err)
	}
	if n := b.Refusals()[actionConnect]; n != 6 {
		t.Errorf("%d refusals, want 6", n)
	}
	connectOwn(t, b)
}

func TestALampsUserReadsItsLight(t *testing.T) {
	users := &userList{}
	users.add("lamp", []string{"light-1"})
	users.add("other", []string{"lamp-2"})
	b := onAllAddresses(t, users)
	connectOwn(t, b).retain("light/light-1/meaning", "in-order")
	c, err := guest(t, b, as("lamp"))
	if err != nil {
		t.Fatal(err)
	}
	for filter, want := range map[string]bool{
		"light/light-1": true, "light/light-1/meaning": true, "light/light-1/#": true, "availability": true, "daemon": true,
		"light/light-2": false, "light/+": false, "#": false, "batch/+": false, "event": false, "do/+": false, "light/light-10": false,
	} {
		if got := granted(t, c, root+filter); (got < refusedQoS) != want {
			t.Errorf("%s: %d, want allowed %v", filter, got, want)
		}
	}
	for _, filter := range []string{"#", "$SYS/#", "shop/lamp-2", "shop/lamp-2/set", "$share/x/" + root + "#", "+/+/light/light-1"} {
		granted(t, c, filter)
	}
	cl, _ := b.server.Clients.Get("client-lamp")
	for filter := range cl.State.Subscriptions.GetAll() {
		if !strings.HasPrefix(filter, root+"light/light-1") && filter != root+"availability" && filter != root+"daemon" {
			t.Errorf("%s may be read", filter)
		}
	}
	seen := make(chan string, 100)
	if token := c.Subscribe(root+"light/light-1/meaning", 1, func(_ paho.Client, m paho.Message) { seen <- string(m.Payload()) }); !token.WaitTimeout(mqtttest.Patience) {
		t.Fatal("no answer")
	}
	select {
	case got := <-seen:
		if got != "in-order" {
			t.Errorf("the light is %s", got)
		}
	case <-time.After(mqtttest.Patience):
		t.Error("the light is not delivered")
	}

	// It may report for its own light and give no command.
	other, err := guest(t, b, as("other"))
	if err != nil {
		t.Fatal(err)
	}
	for _, filter := range []string{"shop/lamp-2/set", root + "light/lamp-2"} {
		if got := granted(t, other, filter); got >= refusedQoS {
			t.Errorf("%s: %d", filter, got)
		}
	}
	before := b.Refusals()[actionPublish]
	for _, topic := range []string{"shop/lamp-2", "shop/lamp-2/set", root + "light/lamp-2", root + "do/load"} {
		if token := other.Publish(topic, 1, true, "green"); !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
			t.Fatalf("%s: %v", topic, token.Error())
		}
	}
	if token := c.Publish("shop/lamp-2", 1, true, "red"); !token.WaitTimeout(mqtttest.Patience) {
		t.Fatal("no answer")
	}
	if n := b.Refusals()[actionPublish] - before; n != 4 {
		t.Errorf("%d refusals, want 4", n)
	}
	if pk, ok := b.server.Topics.Retained.Get("shop/lamp-2"); !ok || string(pk.Payload) != "green" {
		t.Errorf("reported %q, %v", pk.Payload, ok)
	}
}

// A revoked user is disconnected, and will and session are discarded. A new user of the same
// name does not inherit the connection.
func TestRevokedUserIsDisconnected(t *testing.T) {
	users := &userList{}
	users.add("line-2", nil, "good")
	users.add("board", nil)
	b := onAllAddresses(t, users)
	lost := make(chan error, 10)
	c, err := guest(t, b, func(o *paho.ClientOptions) {
		as("line-2")(o)
		o.SetCleanSession(false).SetWill(root+"do/good", "{}", 1, false).
			SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	})
	if err != nil {
		t.Fatal(err)
	}
	granted(t, c, "potlife/#")
	board, err := guest(t, b, as("board"))
	if err != nil {
		t.Fatal(err)
	}
	wills := make(chan string, 10)
	board.Subscribe(root+"do/+", 1, func(_ paho.Client, m paho.Message) { wills <- m.Topic() }).WaitTimeout(mqtttest.Patience)
	users.revoke("line-2")
	// A command between the revocation and the disconnection is not carried out.
	c.Publish(root+"do/good", 1, false, "{}").WaitTimeout(time.Second)
	select {
	case <-lost:
	case <-time.After(mqtttest.Patience):
		t.Fatal("still connected")
	}
	users.add("line-2", nil, "good")
	mqtttest.Until(t, "the end of the session", func() bool { _, found := b.server.Clients.Get("client-line-2"); return !found })
	again, err := guest(t, b, func(o *paho.ClientOptions) { as("line-2")(o); o.SetCleanSession(false) })
	if err != nil {
		t.Fatal(err)
	}
	again.Publish(root+"do/marker", 1, false, "{}").WaitTimeout(mqtttest.Patience)
	if board.IsConnectionOpen() {
		select {
		case topic := <-wills:
			t.Errorf("received %s from a revoked user", topic)
		default:
		}
	}
}

// The will of a user who was revoked is not carried out when the line breaks before the broker has
// ended the connection.
func TestAWillOfARevokedUserIsDropped(t *testing.T) {
	users := &userList{}
	users.add("line-2", nil, "good")
	users.add("board", nil)
	b := onAllAddresses(t, users)
	commands := make(chan Command, 10)
	b.OnCommand(func(c Command) { commands <- c })
	line := make(chan net.Conn, 1)
	_, err := guest(t, b, func(o *paho.ClientOptions) {
		as("line-2")(o)
		o.SetWill(root+"do/good", "{}", 1, false).SetAutoReconnect(false).
			SetCustomOpenConnectionFn(func(uri *url.URL, _ paho.ClientOptions) (net.Conn, error) {
				c, err := net.Dial("tcp", uri.Host)
				if err == nil {
					line <- c
				}
				return c, err
			})
	})
	if err != nil {
		t.Fatal(err)
	}
	board, err := guest(t, b, as("board"))
	if err != nil {
		t.Fatal(err)
	}
	wills := make(chan string, 10)
	board.Subscribe("#", 1, func(_ paho.Client, m paho.Message) { wills <- m.Topic() }).WaitTimeout(mqtttest.Patience)
	users.revoke("line-2")
	_ = (<-line).Close()
	mqtttest.Until(t, "the end of the connection", func() bool {
		c, found := b.server.Clients.Get("client-line-2")
		return !found || c.Closed() && atomic.LoadUint32(&c.Properties.Will.Flag) == 0
	})
	select {
	case c := <-commands:
		t.Errorf("the will was carried out: %+v", c)
	case topic := <-wills:
		t.Errorf("the will went to %q", topic)
	default:
	}
}

// A client id belongs to its user: a connection of another user with it is refused, and does
// not inherit the session.
func TestClientIDBelongsToItsUser(t *testing.T) {
	users := &userList{}
	users.add("board", nil)
	users.add("lamp", []string{"light-1"})
	b := onAllAddresses(t, users)
	persistent := func(name string) func(*paho.ClientOptions) {
		return func(o *paho.ClientOptions) { as(name)(o); o.SetClientID("place").SetCleanSession(false) }
	}
	c, err := guest(t, b, persistent("board"))
	if err != nil {
		t.Fatal(err)
	}
	granted(t, c, "#")
	if _, err := guest(t, b, persistent("lamp")); err == nil {
		t.Error("a user took the client id of another")
	}
	c.Disconnect(100)
	mqtttest.Until(t, "the client to be disconnected", func() bool { cl, ok := b.server.Clients.Get("place"); return ok && cl.Closed() })
	if _, err := guest(t, b, persistent("lamp")); err != nil {
		t.Fatal(err)
	}
	cl, ok := b.server.Clients.Get("place")
	if !ok || cl.State.Subscriptions.Len() != 0 {
		t.Errorf("inherited %v", cl.State.Subscriptions.GetAll())
	}
}

// Commands are delivered with the name of the user who gave them, and whether they may. None
// is retained.
func TestCommandsAreDeliveredWithTheirUser(t *testing.T) {
	users := &userList{}
	users.add("line-2", nil, "good")
	b := onAllAddresses(t, users)
	given := make(chan Command, 10)
	b.OnCommand(func(c Command) { given <- c })
	c, err := guest(t, b, as("line-2"))
	if err != nil {
		t.Fatal(err)
	}
	for _, verb := range []string{"good", "load"} {
		mqtttest.Done(t, "publish a command", c.Publish(root+"do/"+verb, 1, true, "{}"))
	}
	good, load := <-given, <-given
	if good.Verb != "good" || good.By != "line-2" || good.Denied != "" || !good.Retained || string(good.Payload) != "{}" {
		t.Errorf("a command that the user may give: %+v", good)
	}
	if load.Verb != "load" || load.By != "line-2" || !strings.Contains(load.Denied, "line-2 has no right to it") {
		t.Errorf("a command that the user may not give: %+v", load)
	}
	if held := b.server.Topics.Messages(root + "do/#"); len(held) > 0 {
		t.Errorf("%d commands are retained", len(held))
	}
}
