package mqtt

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/request"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// publishCommand publishes a command as any client of the broker may.
func publishCommand(t testing.TB, w *mqtttest.Subscriber, verb, payload string) {
	t.Helper()
	token := w.Client.Publish(root+"do/"+verb, 1, false, payload)
	if !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
		t.Fatalf("publish do/%s: %v", verb, token.Error())
	}
}

func commandAt(ref string, at time.Time, rest string) string {
	return fmt.Sprintf(`{"ref":%q,"at":%q%s}`, ref, at.Format(time.RFC3339), rest)
}

func TestCommandsAreAnswered(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newFixture()
		var mu sync.Mutex
		var asked []request.Request
		r.bench.do = func(_ context.Context, q request.Request) (request.Reply, error) {
			mu.Lock()
			defer mu.Unlock()
			asked = append(asked, q)
			switch c := q.Change.(type) {
			case request.LoadBatch:
				if c.Batch == "taken" {
					return request.Reply{}, request.Refuse(request.NotNow, "Not now", "it holds 0612-2")
				}
			case request.CloseBatch:
				return request.Reply{Body: json.RawMessage(`{"id":"0612-1"}`)}, nil // not on disk
			}
			return request.Reply{Body: json.RawMessage(`{"id":"0612-1"}`), OnDisk: true}, nil
		}
		w := mqtttest.Subscribe(t, b.Addr())
		p, _ := runPublisher(t, r, b.settings())
		mqtttest.Until(t, "the connection", p.Connected)
		now := time.Now()
		publishCommand(t, w, "load", commandAt("a", now, `,"batch":"0612-1","press":"press-1"`))
		w.Expect(t, "done", func(m mqtttest.Message) bool {
			var a map[string]any
			return m.Topic == root+"done/load" && json.Unmarshal([]byte(m.Payload), &a) == nil && !m.Retained && m.QoS == 1 &&
				a["ref"] == "a" && a["outcome"] == "done" && a["status"] == 200.0 && a["result"].(map[string]any)["id"] == "0612-1"
		})
		publishCommand(t, w, "load", commandAt("b", now, `,"batch":"taken","press":"press-1"`))
		w.Expect(t, "refused", func(m mqtttest.Message) bool {
			return mqtttest.JSONHas(root+"done/load", "ref", "b")(m) && mqtttest.JSONHas(root+"done/load", "outcome", "refused")(m) &&
				mqtttest.JSONHas(root+"done/load", "status", 409.0)(m) && mqtttest.JSONHas(root+"done/load", "detail", "Not now: it holds 0612-2")(m)
		})
		publishCommand(t, w, "close", commandAt("c", now, `,"batch":"0612-1","outcome":"used-up"`))
		w.Expect(t, "not on disk", func(m mqtttest.Message) bool {
			return mqtttest.JSONHas(root+"done/close", "status", 202.0)(m) && mqtttest.JSONHas(root+"done/close", "on_disk", false)(m)
		})
		publishCommand(t, w, "good", commandAt("d", now.Add(-2*time.Minute), `,"batch":"0612-1"`))
		w.Expect(t, "too old", mqtttest.JSONHas(root+"done/good", "outcome", "ignored"))
		publishCommand(t, w, "unload", commandAt("e", now.Add(2*time.Minute), `,"batch":"0612-1"`))
		w.Expect(t, "in the future", mqtttest.JSONHas(root+"done/unload", "outcome", "ignored"))
		publishCommand(t, w, "abandon", `{"batch":"0612-1"}`)
		w.Expect(t, "no ref", mqtttest.JSONHas(root+"done/abandon", "outcome", "refused"))
		publishCommand(t, w, "paint", commandAt("f", now, ``))
		w.Expect(t, "no such command", mqtttest.JSONHas(root+"done/paint", "status", 404.0))
		// A report of a camera may come late, and is counted at its time.
		publishCommand(t, w, "defects", commandAt("g", now.Add(-10*time.Minute), `,"press":"press-1","kind":"dust","add":3`))
		w.Expect(t, "late", mqtttest.JSONHas(root+"done/defects", "outcome", "done"))
		publishCommand(t, w, "defects", commandAt("h", now.Add(-16*time.Minute), `,"press":"press-1","kind":"dust","add":3`))
		w.Expect(t, "too late", mqtttest.JSONHas(root+"done/defects", "outcome", "ignored"))

		mu.Lock()
		defer mu.Unlock()
		if len(asked) != 4 {
			t.Fatalf("the bench was asked %d times, want 4: %+v", len(asked), asked)
		}
		if c, is := asked[3].Change.(request.CountDefects); !is || c.At == nil || now.Add(-10*time.Minute).Sub(*c.At).Abs() > time.Second || *c.Add != 3 {
			t.Errorf("late rejects were asked for as %+v", asked[3].Change)
		}
		if q := asked[0]; q.By != "mqtt" || q.Key != "mqtt:a" || q.Hash == "" {
			t.Errorf("asked %+v", q)
		}
		n := p.Status().Messages
		if n[Count{"in", "ok"}] != 3 || n[Count{"in", "rejected"}] != 6 || n[Count{"out", "ok"}] == 0 {
			t.Errorf("counted %v", n)
		}
	})
}

// A broker delivers a retained command to a later subscriber; the built-in one passes it on
// at once, so that it is answered.
func TestRetainedCommandIsIgnored(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		w := mqtttest.Subscribe(t, b.Addr())
		r := newFixture()
		r.bench.do = func(context.Context, request.Request) (request.Reply, error) {
			t.Error("a retained command reached the bench")
			return request.Reply{}, nil
		}
		_, inside := b.(*builtIn)
		if inside {
			p, _ := runPublisher(t, r, b.settings())
			mqtttest.Until(t, "the connection", p.Connected)
		}
		token := w.Client.Publish(root+"do/good", 1, true, commandAt("old", time.Now(), `,"batch":"0612-1"`))
		if !token.WaitTimeout(mqtttest.Patience) {
			t.Fatal("not published")
		}
		w.Expect(t, "the command", func(m mqtttest.Message) bool { return m.Topic == root+"do/good" }) // so it is past the live readers
		if !inside {
			runPublisher(t, r, b.settings())
		}
		w.Expect(t, "ignored", mqtttest.JSONHas(root+"done/good", "outcome", "ignored"))
	})
}

func TestCommandsCanBeForbidden(t *testing.T) {
	b := newMosquitto(t) // the built-in broker would not even let them through
	s := b.settings()
	s.Commands = false
	r := newFixture()
	w := mqtttest.Subscribe(t, b.Addr())
	p, _ := runPublisher(t, r, s)
	mqtttest.Until(t, "the connection", p.Connected)
	publishCommand(t, w, "good", commandAt("x", time.Now(), `,"batch":"0612-1"`))
	w.Expect(t, "ignored", mqtttest.JSONHas(root+"done/good", "outcome", "ignored"))
}

// Commands are carried out in their order. One for which the queue has no room is refused.
func TestCommandQueue(t *testing.T) {
	b := newBuiltIn(t)
	r := newFixture()
	release := make(chan struct{})
	var mu sync.Mutex
	var order []string
	r.bench.do = func(ctx context.Context, q request.Request) (request.Reply, error) {
		select {
		case <-release:
		case <-ctx.Done():
			return request.Reply{}, ctx.Err()
		}
		mu.Lock()
		defer mu.Unlock()
		order = append(order, q.Key)
		return request.Reply{OnDisk: true}, nil
	}
	w := mqtttest.Subscribe(t, b.Addr())
	p, _ := runPublisher(t, r, b.settings())
	mqtttest.Until(t, "the connection", p.Connected)
	const given = commandQueue + 20
	for i := range given {
		publishCommand(t, w, "good", commandAt(fmt.Sprintf("%03d", i), time.Now(), `,"batch":"0612-1"`))
	}
	w.Expect(t, "busy", mqtttest.JSONHas(root+"done/good", "status", 503.0))
	close(release)
	mqtttest.Until(t, "an answer to each", func() bool { return len(w.On(root+"done/good")) == given })
	mu.Lock()
	defer mu.Unlock()
	if !slices.IsSorted(order) {
		t.Errorf("obeyed out of order: %v", order)
	}
	if len(order) < commandQueue || len(order) == given {
		t.Errorf("%d of %d were obeyed; the queue takes %d", len(order), given, commandQueue)
	}
}

func TestPeerToolsCommand(t *testing.T) {
	b := newMosquitto(t).(mosquittoBroker)
	r := newFixture()
	r.bench.do = func(context.Context, request.Request) (request.Reply, error) {
		return request.Reply{Body: json.RawMessage(`{"id":"0612-1"}`), OnDisk: true}, nil
	}
	w := mqtttest.Subscribe(t, b.Addr())
	p, _ := runPublisher(t, r, b.settings())
	mqtttest.Until(t, "the connection", p.Connected)
	b.Publish("-q", "1", "-t", root+"do/load", "-m", commandAt("peer", time.Now(), `,"batch":"0612-1","press":"press-1"`))
	w.Expect(t, "the answer", mqtttest.JSONHas(root+"done/load", "ref", "peer"))
	mqtttest.Until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
	held := b.Retained(root + "#")
	if held[root+"availability"] != "online" || held[root+"light/light-1/meaning"] != "in-order" || held[root+"done/load"] != "" || held[root+"event"] != "" {
		t.Errorf("the broker holds %v", held)
	}
}

// TestStatusOfRefusals: a refused command is answered with the status that HTTP has for
// the kind of the refusal.
func TestStatusOfRefusals(t *testing.T) {
	p := &Publisher{clock: newFixture().clock}
	for kind, status := range map[request.RefusalKind]int{
		request.NotFound: 404, request.NotNow: 409, request.TooLong: 413, request.Invalid: 422, request.Unavailable: 503,
	} {
		a := p.refused(Command{Verb: "good", Ref: "r1"}, request.Refuse(kind, "No", "not this one"))
		if a.Status != status || a.Outcome != outcomeRefused || a.Detail != "No: not this one" {
			t.Errorf("%s: %+v, want status %d", kind, a, status)
		}
	}
}

// Ten thousand commands at once, most of them invalid: the connection stays open, and a valid
// command after them is carried out.
func TestFloodOfBadCommands(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newFixture()
		var carriedOut atomic.Int32
		r.bench.do = func(context.Context, request.Request) (request.Reply, error) {
			carriedOut.Add(1)
			return request.Reply{OnDisk: true}, nil
		}
		w := mqtttest.Subscribe(t, b.Addr())
		p, _ := runPublisher(t, r, b.settings())
		mqtttest.Until(t, "the connection", p.Connected)
		flood := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.Addr()).SetClientID("flood").SetMessageChannelDepth(10))
		if token := flood.Connect(); !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
			t.Fatal(token.Error())
		}
		defer flood.Disconnect(50)
		bad := []string{
			"", "{", "null", "[]", `{"ref":1}`, `{"ref":"x","at":5}`, `{"ref":"x","ref":"y"}`, "\xff\xfe", strings.Repeat("[", 5000),
			`{"ref":"x","at":"2026-01-01T00:00:00Z","batch":{}}`, strings.Repeat("x", 2*topics.MaxCommandBytes), commandAt("old", time.Now().Add(-time.Hour), ""),
		}
		verbs := []string{"good", "load", "no-such-verb", "mix", "Ü", "a b", strings.Repeat("v", 200), "close"}
		for i := range 10_000 {
			payload := bad[i%len(bad)]
			if len(payload) > 1000 && i%100 > 0 {
				payload = bad[i%8]
			}
			flood.Publish(root+"do/"+verbs[i%len(verbs)], byte(i%2), false, payload)
		}
		before := carriedOut.Load()
		mqtttest.Until(t, "a valid command to be carried out", func() bool {
			publishCommand(t, w, "good", commandAt(fmt.Sprint("good-", time.Now().UnixNano()), time.Now(), `,"batch":"0612-1"`))
			return carriedOut.Load() > before
		})
		if before > 0 {
			t.Errorf("%d bad commands reached the bench", before)
		}
		r.bench.change(func(s *view.Snapshot) { s.Air = []view.Air{airView(s.At, 33, 50)} })
		w.Expect(t, "air", mqtttest.JSONHas(root+"air/bench", "temperature_c", 33.0))
		if epoch, _ := p.conn.current(); epoch != 1 {
			t.Errorf("the connection broke: it is the %dth", epoch)
		}
	})
}
