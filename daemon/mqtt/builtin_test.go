package mqtt

import (
	"context"
	"potlifed/daemon/broker"
	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/request"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// users are the users of a broker by name, with the verbs that each may give.
type users map[string][]string

func (u users) Find(name string) (broker.User, bool) {
	verbs, ok := u[name]
	return broker.User{
		Name: name, Hash: name,
		Is:  func(password string) bool { return password == passwordOf(name) },
		May: func(verb string) bool { return slices.Contains(verbs, verb) },
	}, ok
}

func passwordOf(name string) string { return name + "-secret" }

// connectAs connects a client of a user, with further options where change is not nil.
func connectAs(t testing.TB, b *builtIn, name string, change func(*paho.ClientOptions)) paho.Client {
	t.Helper()
	o := paho.NewClientOptions().AddBroker("tcp://" + b.Addr()).SetClientID("client-" + name).SetProtocolVersion(4).
		SetUsername(name).SetPassword(passwordOf(name)).SetAutoReconnect(false)
	if change != nil {
		change(o)
	}
	c := paho.NewClient(o)
	mqtttest.Done(t, "connect as "+name, c.Connect())
	t.Cleanup(func() { c.Disconnect(50) })
	return c
}

// The broker refuses nothing that the publisher sends, and never closes its connection.
func TestOwnClientsAreNotRefused(t *testing.T) {
	b := newBuiltIn(t).(*builtIn)
	w := mqtttest.Subscribe(t, b.Addr())
	r := newFixture()
	p, stop := runPublisher(t, r, b.settings())
	for range 200 {
		r.event("0612-1", nil)
	}
	w.Expect(t, "the last event", mqtttest.JSONHas(root+"event", "seq", 200.0))
	mqtttest.Until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
	if n := p.Status().Messages[Count{"out", "error"}]; n > 0 || b.refusals() > 0 {
		t.Errorf("%d messages failed, refusals %v", n, b.Refusals())
	}
	if epoch, _ := p.conn.current(); epoch != 1 {
		t.Errorf("%d connections, want one", epoch)
	}
	stop()
}

// Commands need the right, and are recorded under the user's name; nobody can give another
// name.
func TestCommandsOfUsers(t *testing.T) {
	b := startBuiltIn(t, broker.Settings{
		Listen: "127.0.0.1:0", Commands: true, Users: users{"line-2": {"good"}, "board": nil},
	})
	r := newFixture()
	var mu sync.Mutex
	asked := map[string]string{} // by key
	r.bench.do = func(_ context.Context, q request.Request) (request.Reply, error) {
		mu.Lock()
		defer mu.Unlock()
		asked[q.Key] = string(q.By)
		return request.Reply{OnDisk: true}, nil
	}
	p, _ := runPublisher(t, r, b.settings())
	mqtttest.Until(t, "the connection", p.Connected)
	answers := make(chan string, 100)
	for _, name := range []string{"board", "line-2"} {
		c := connectAs(t, b, name, nil)
		if name == "board" {
			c.Subscribe(root+"done/+", 1, func(_ paho.Client, m paho.Message) { answers <- string(m.Payload()) }).WaitTimeout(mqtttest.Patience)
		}
		for i, verb := range []string{"good", "load"} {
			rest := `,"batch":"0612-1","by":"mqtt"`
			if i == 0 {
				rest = `,"batch":"0612-1"`
			}
			token := c.Publish(root+"do/"+verb, 1, name == "board", commandAt("same", time.Now(), rest))
			if !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
				t.Fatal(token.Error())
			}
		}
	}
	got := map[string]int{}
	for range 4 {
		select {
		case a := <-answers:
			for _, outcome := range []string{outcomeDone, outcomeIgnored} {
				if strings.Contains(a, `"outcome":"`+outcome) {
					got[outcome]++
				}
			}
		case <-time.After(mqtttest.Patience):
			t.Fatalf("not every command was answered: %v", got)
		}
	}
	if got[outcomeDone] != 1 || got[outcomeIgnored] != 3 {
		t.Errorf("answers %v", got)
	}
	mu.Lock()
	defer mu.Unlock()
	if len(asked) != 1 || asked["mqtt-user:line-2:same"] != "line-2" {
		t.Errorf("the bench was asked %v", asked)
	}
}

// A refusal neither closes a connection nor makes a client send again, neither our own client
// nor others.
func TestRefusedPublishDoesNotLoop(t *testing.T) {
	b := startBuiltIn(t, broker.Settings{Listen: "127.0.0.1:0", Commands: true, Users: users{"board": nil}})
	s := Settings{URLs: []string{"mqtt://" + b.Addr()}, Username: "board", Password: passwordOf("board")}
	ours := &connection{settings: s, id: "ours", wake: make(chan struct{}, 1), log: quietLog(), prepare: noOptions}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { defer close(ended); ours.run(ctx) }()
	defer func() { cancel(); <-ended }()
	mqtttest.Until(t, "our client to connect", func() bool { epoch, _ := ours.current(); return epoch == 1 })
	connects := make(chan struct{}, 100)
	theirs := connectAs(t, b, "board", func(o *paho.ClientOptions) {
		o.SetAutoReconnect(true).SetOnConnectHandler(func(paho.Client) { connects <- struct{}{} })
	})
	for i := range 50 {
		for qos := range byte(3) {
			if token := theirs.Publish(root+"light/light-1", qos, true, "x"); !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
				t.Fatal(i, qos, token.Error())
			}
			if err := ours.send([]message{{root + "event", qos, true, []byte("x")}}, writeTimeout)[0]; err != nil {
				t.Fatal(i, qos, err)
			}
		}
	}
	if epoch, _ := ours.current(); epoch != 1 || len(connects) != 1 {
		t.Errorf("our client connected %d times, the other %d times", epoch, len(connects))
	}
	if n := b.Refusals()["publish"]; n != 300 {
		t.Errorf("%d refusals, want 300: each once", n)
	}
}
