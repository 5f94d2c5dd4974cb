package mqtt

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/request"
)

// book is a list of users that can be changed. A user's password is his name backwards.
type book struct {
	mu    sync.Mutex
	users map[string]User
}

func (b *book) Find(name string) (User, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	u, ok := b.users[name]
	return u, ok
}

func (b *book) enter(name string, lights []string, verbs ...string) {
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

func (b *book) revoke(name string) {
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

// worldwide is a broker on every address, with users.
func worldwide(t *testing.T, users *book) *Broker {
	t.Helper()
	s := brokerSettings("0.0.0.0:0", true)
	s.Users = users
	s.Lights = append(s.Lights, Light{ID: "lamp-2", Topic: "shop/lamp-2/set", Confirms: "shop/lamp-2"})
	b, err := StartBroker(context.Background(), s, quietLog())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

// granted subscribes and reports what came of it.
func granted(t *testing.T, c paho.Client, filter string) byte {
	t.Helper()
	token := c.Subscribe(filter, 1, func(paho.Client, paho.Message) {}).(*paho.SubscribeToken)
	if !token.WaitTimeout(5 * time.Second) {
		t.Fatalf("subscribe %s: no answer", filter)
	}
	return token.Result()[filter]
}

func TestBeyondLoopbackAUserIsAskedFor(t *testing.T) {
	users := &book{}
	users.enter("board", nil)
	b := worldwide(t, users)
	own := b.Own(testSettings(""))
	if !strings.HasPrefix(own.URL, "mqtt://127.0.0.1:") || !b.Serves(own.URL) {
		t.Errorf("the daemon is to connect to %s", own.URL)
	}
	for name, change := range map[string]func(*paho.ClientOptions){
		"nobody":           nil,
		"a stranger":       as("stranger"),
		"a wrong password": func(o *paho.ClientOptions) { o.SetUsername("board").SetPassword("guess") },
		"an empty one":     func(o *paho.ClientOptions) { o.SetUsername("board") },
		"the daemon's id":  func(o *paho.ClientOptions) { as("board")(o); o.SetClientID(own.clientID()) },
		"an endless id":    func(o *paho.ClientOptions) { as("board")(o); o.SetClientID(strings.Repeat("x", 5000)) },
	} {
		if _, err := guest(t, b, change); err == nil {
			t.Errorf("%s came in", name)
		}
	}
	if _, err := guest(t, b, as("board")); err != nil {
		t.Errorf("a user is turned away: %v", err)
	}
	if n := b.Refusals()[actionConnect]; n != 6 {
		t.Errorf("%d refusals, want 6", n)
	}
	p, _ := runPublisher(t, newRoom(), own)
	until(t, "the daemon to come in", p.Connected)
}

func TestALampsUserReadsItsLight(t *testing.T) {
	users := &book{}
	users.enter("lamp", []string{"light-1"})
	users.enter("other", []string{"lamp-2"})
	b := worldwide(t, users)
	r := newRoom()
	runPublisher(t, r, b.Own(testSettings("")))
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
	if token := c.Subscribe(root+"light/light-1/meaning", 1, func(_ paho.Client, m paho.Message) { seen <- string(m.Payload()) }); !token.WaitTimeout(5 * time.Second) {
		t.Fatal("no answer")
	}
	select {
	case got := <-seen:
		if got != "in-order" {
			t.Errorf("the light is %s", got)
		}
	case <-time.After(10 * time.Second):
		t.Error("the light is not handed out")
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
		if token := other.Publish(topic, 1, true, "green"); !token.WaitTimeout(5*time.Second) || token.Error() != nil {
			t.Fatalf("%s: %v", topic, token.Error())
		}
	}
	if token := c.Publish("shop/lamp-2", 1, true, "red"); !token.WaitTimeout(5 * time.Second) {
		t.Fatal("no answer")
	}
	if n := b.Refusals()[actionPublish] - before; n != 4 {
		t.Errorf("%d refusals, want 4", n)
	}
	if pk, ok := b.server.Topics.Retained.Get("shop/lamp-2"); !ok || string(pk.Payload) != "green" {
		t.Errorf("reported %q, %v", pk.Payload, ok)
	}
}

// Commands need the right, and are recorded under the user's name; nobody can give
// another one.
func TestCommandsOfUsers(t *testing.T) {
	users := &book{}
	users.enter("line-2", nil, "good")
	users.enter("board", nil)
	b := worldwide(t, users)
	r := newRoom()
	var mu sync.Mutex
	asked := map[string]string{} // by key
	r.bench.do = func(_ context.Context, q request.Request) (request.Reply, error) {
		mu.Lock()
		defer mu.Unlock()
		asked[q.Key] = string(q.By)
		return request.Reply{OnDisk: true}, nil
	}
	p, _ := runPublisher(t, r, b.Own(testSettings("")))
	until(t, "the connection", p.Connected)
	answers := make(chan string, 100)
	for _, name := range []string{"board", "line-2"} {
		c, err := guest(t, b, as(name))
		if err != nil {
			t.Fatal(err)
		}
		if name == "board" {
			c.Subscribe(root+"done/+", 1, func(_ paho.Client, m paho.Message) { answers <- string(m.Payload()) }).WaitTimeout(5 * time.Second)
		}
		for i, verb := range []string{"good", "load"} {
			rest := `,"batch":"0612-1","by":"mqtt"`
			if i == 0 {
				rest = `,"batch":"0612-1"`
			}
			token := c.Publish(root+"do/"+verb, 1, name == "board", commandAt("same", time.Now(), rest))
			if !token.WaitTimeout(5*time.Second) || token.Error() != nil {
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
		case <-time.After(10 * time.Second):
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
	if _, held := b.server.Topics.Retained.Get(root + "do/good"); held {
		t.Error("a retained command is held")
	}
}

// A user who is revoked is shown out, with neither will nor session; a new one of that
// name does not inherit his connection.
func TestRevokedUserIsShownOut(t *testing.T) {
	users := &book{}
	users.enter("line-2", nil, "good")
	users.enter("board", nil)
	b := worldwide(t, users)
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
	board.Subscribe(root+"do/+", 1, func(_ paho.Client, m paho.Message) { wills <- m.Topic() }).WaitTimeout(5 * time.Second)
	users.revoke("line-2")
	// What he does before anybody has looked counts for nothing.
	c.Publish(root+"do/good", 1, false, "{}").WaitTimeout(time.Second)
	select {
	case <-lost:
	case <-time.After(10 * time.Second):
		t.Fatal("still connected")
	}
	users.enter("line-2", nil, "good")
	until(t, "his session to be gone", func() bool { _, there := b.server.Clients.Get("client-line-2"); return !there })
	again, err := guest(t, b, func(o *paho.ClientOptions) { as("line-2")(o); o.SetCleanSession(false) })
	if err != nil {
		t.Fatal(err)
	}
	again.Publish(root+"do/marker", 1, false, "{}").WaitTimeout(5 * time.Second)
	if board.IsConnectionOpen() {
		select {
		case topic := <-wills:
			t.Errorf("heard %s of a revoked user", topic)
		default:
		}
	}
}

// A client id is its owner's: another's connection with it is refused and inherits
// nothing.
func TestNobodyTakesAnothersPlace(t *testing.T) {
	users := &book{}
	users.enter("board", nil)
	users.enter("lamp", []string{"light-1"})
	b := worldwide(t, users)
	persistent := func(name string) func(*paho.ClientOptions) {
		return func(o *paho.ClientOptions) { as(name)(o); o.SetClientID("place").SetCleanSession(false) }
	}
	c, err := guest(t, b, persistent("board"))
	if err != nil {
		t.Fatal(err)
	}
	granted(t, c, "#")
	if _, err := guest(t, b, persistent("lamp")); err == nil {
		t.Error("somebody took the place of another's client")
	}
	c.Disconnect(100)
	until(t, "the other to be away", func() bool { cl, ok := b.server.Clients.Get("place"); return ok && cl.Closed() })
	if _, err := guest(t, b, persistent("lamp")); err != nil {
		t.Fatal(err)
	}
	cl, ok := b.server.Clients.Get("place")
	if !ok || cl.State.Subscriptions.Len() != 0 {
		t.Errorf("inherited %v", cl.State.Subscriptions.GetAll())
	}
}

// A refusal neither breaks a connection nor makes a client send again, with our own
// client as little as with others.
func TestRefusedPublishDoesNotLoop(t *testing.T) {
	users := &book{}
	users.enter("board", nil)
	b := worldwide(t, users)
	s := Settings{URL: "mqtt://" + b.reach(), Username: "board", Password: passwordOf("board")}
	ours := &connection{settings: s, id: "ours", wake: make(chan struct{}, 1), log: quietLog(), prepare: noOptions}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { defer close(ended); ours.run(ctx) }()
	defer func() { cancel(); <-ended }()
	until(t, "our client to connect", func() bool { epoch, _ := ours.current(); return epoch == 1 })
	connects := make(chan struct{}, 100)
	theirs, err := guest(t, b, func(o *paho.ClientOptions) {
		as("board")(o)
		o.SetAutoReconnect(true).SetOnConnectHandler(func(paho.Client) { connects <- struct{}{} })
	})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 50 {
		for qos := range byte(3) {
			if token := theirs.Publish(root+"light/light-1", qos, true, "x"); !token.WaitTimeout(5*time.Second) || token.Error() != nil {
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
	if n := b.Refusals()[actionPublish]; n != 300 {
		t.Errorf("%d refusals, want 300: each once", n)
	}
}
