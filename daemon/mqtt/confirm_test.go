package mqtt

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	paho "github.com/eclipse/paho.mqtt.golang"
	"pgregory.net/rapid"

	"potlifed/daemon/broker"
	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// newConfirmation is one on a clock that the test turns.
func newConfirmation(now *time.Duration) *confirmation {
	return &confirmation{light: "light-1", changed: make(chan struct{}, 1), now: func() time.Duration { return *now }}
}

func TestConfirmation(t *testing.T) {
	const s = time.Second
	type act struct {
		at   time.Duration
		does string // tell X, fail X, say X, lose
	}
	for _, c := range []struct {
		name string
		acts []act
		want light.Report
	}{
		{"nothing told", nil, light.Report{}},
		{"silent", []act{{1 * s, "tell green"}}, light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: 1 * s}},
		{"silent through repetitions", []act{{1 * s, "tell green"}, {31 * s, "tell green"}, {61 * s, "tell red"}}, light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: 1 * s}},
		{"confirms", []act{{1 * s, "tell green"}, {2 * s, "say green"}}, light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 2 * s}},
		{"dies after it confirmed", []act{{1 * s, "tell green"}, {2 * s, "say green"}, {31 * s, "tell green"}},
			light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 2 * s, Unanswered: true, UnansweredSince: 31 * s}},
		{"comes back", []act{{1 * s, "tell green"}, {31 * s, "tell green"}, {62 * s, "tell green"}, {63 * s, "say green"}},
			light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 63 * s}},
		{"lies", []act{{1 * s, "tell green"}, {2 * s, "say green"}, {5 * s, "tell red"}, {6 * s, "say green"}, {35 * s, "tell red"}, {36 * s, "say green"}},
			light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 2 * s, Unanswered: true, UnansweredSince: 5 * s, Says: "green"}},
		{"turned by hand", []act{{1 * s, "tell red"}, {2 * s, "say red"}, {9 * s, "say green"}},
			light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 2 * s, Unanswered: true, UnansweredSince: 9 * s, Says: "green"}},
		{"put right by the repetition", []act{{1 * s, "tell red"}, {2 * s, "say red"}, {9 * s, "say green"}, {31 * s, "tell red"}, {32 * s, "say red"}},
			light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 32 * s}},
		{"a step behind", []act{{1 * s, "tell green"}, {2 * s, "tell red"}, {3 * s, "say green"}}, light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 3 * s, Unanswered: true, UnansweredSince: 2 * s}},
		{"caught up", []act{{1 * s, "tell green"}, {2 * s, "tell red"}, {3 * s, "say green"}, {4 * s, "say red"}}, light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 4 * s}},
		{"speaks before it is told", []act{{1 * s, "say green"}, {2 * s, "tell green"}}, light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: 2 * s}},
		{"speaks of its own accord", []act{{1 * s, "tell green"}, {2 * s, "say green"}, {9 * s, "say green"}}, light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 9 * s}},
		{"the broker is lost", []act{{1 * s, "tell green"}, {2 * s, "lose"}}, light.Report{}},
		{"an answer after the loss", []act{{1 * s, "tell green"}, {2 * s, "lose"}, {3 * s, "say green"}}, light.Report{}},
		{"and told again", []act{{1 * s, "tell green"}, {2 * s, "say green"}, {3 * s, "lose"}, {9 * s, "tell green"}},
			light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 2 * s, Unanswered: true, UnansweredSince: 9 * s}},
		{"the broker does not take it", []act{{1 * s, "fail green"}}, light.Report{}},
		{"the broker does not take the second", []act{{1 * s, "tell green"}, {2 * s, "say green"}, {3 * s, "fail red"}}, light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: 2 * s}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var now time.Duration
			f := newConfirmation(&now)
			for _, a := range c.acts {
				now = a.at
				verb, what, _ := strings.Cut(a.does, " ")
				switch verb {
				case "tell":
					f.sent(f.sending(what), true)
				case "fail":
					f.sent(f.sending(what), false)
				case "say":
					f.received(what)
				case "lose":
					f.reset()
				}
			}
			if got := f.state(); got != c.want {
				t.Errorf("%+v, want %+v", got, c.want)
			}
		})
	}
}

// TestConfirmationIsWhatTheLampShows uses a lamp that follows its messages, or does not, at
// random. Whenever it confirms what it shows, it owes something exactly if that is not the
// newest message; memory is bounded.
func TestConfirmationIsWhatTheLampShows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var now time.Duration
		f := newConfirmation(&now)
		words := rapid.SampledFrom([]string{"red", "green", "blue"})
		shows, told := "", "" // by the lamp; last taken by the broker on this connection
		for range rapid.IntRange(1, 60).Draw(t, "acts") {
			now += time.Duration(rapid.IntRange(1, 40).Draw(t, "wait")) * time.Second
			switch rapid.IntRange(0, 9).Draw(t, "act") {
			case 0, 1, 2, 3: // told, and obeys or not
				told = words.Draw(t, "told")
				id := f.sending(told)
				if rapid.Bool().Draw(t, "obeys") {
					shows = told
					if rapid.Bool().Draw(t, "answers before the broker") {
						f.received(shows)
					}
				}
				f.sent(id, true)
			case 4, 5, 6, 7:
				if shows != "" {
					f.received(shows)
				}
			case 8: // by hand
				shows = words.Draw(t, "by hand")
			case 9:
				f.reset()
				told = ""
			}
			w := f.state()
			if len(f.pending) > maxPending {
				t.Fatalf("%d answers owed", len(f.pending))
			}
			if w.Acknowledged != (told != "") {
				t.Fatalf("told %q and %+v", told, w)
			}
			if told == "" {
				continue
			}
			f.received(shows + "!") // that is none of the words: the lamp shows something else
			if w = f.state(); !w.Unanswered || w.Says != shows+"!" {
				t.Fatalf("shows something else, and %+v", w)
			}
			f.received(shows)
			switch w = f.state(); {
			case shows == told && (w.Unanswered || !w.Confirmed || w.ConfirmedAt != now):
				t.Fatalf("shows %q as it was told at %v, and %+v", shows, now, w)
			case shows != told && (!w.Unanswered || w.UnansweredSince > now):
				t.Fatalf("shows %q and was told %q, at %v, and %+v", shows, told, now, w)
			}
		}
	})
}

// confirmingBench is a bench that records what lamps confirm.
type confirmingBench struct {
	*fakeBench
	mu      sync.Mutex
	reports []light.Report
}

func (b *confirmingBench) Lamp(_ context.Context, _ string, w light.Report) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.reports = append(b.reports, w)
}

func (b *confirmingBench) state() light.Report {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.reports) == 0 {
		return light.Report{}
	}
	return b.reports[len(b.reports)-1]
}

// answering is a lamp that answers on a topic of its own whatever answer makes of what
// it is sent; an empty answer is none.
func answering(t testing.TB, address, listens, answers string, answer func(payload string) string) paho.Client {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("lamp-" + t.Name()).
		SetAutoReconnect(true).SetConnectRetry(true).SetMaxReconnectInterval(200 * time.Millisecond).
		SetOnConnectHandler(func(c paho.Client) {
			c.Subscribe(listens, 1, func(c paho.Client, m paho.Message) {
				if a := answer(string(m.Payload())); a != "" {
					c.Publish(answers, 1, true, a)
				}
			})
		}))
	if token := c.Connect(); !token.WaitTimeout(mqtttest.Patience) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

// runsWith runs a publisher with one light on mosquitto.
func runsWith(t *testing.T, b testBroker, l Light) (*fixture, *confirmingBench, func()) {
	r := newFixture()
	receiver := &confirmingBench{fakeBench: r.bench}
	s := b.settings()
	s.Lights = []Light{l}
	return r, receiver, runs(t, r, receiver, s)
}

// runs runs a publisher of a bench that takes what its lamps say.
func runs(t *testing.T, r *fixture, receiver *confirmingBench, s Settings) (stop func()) {
	p := New(s, receiver, r.journal, r.clock, quietLog(), nil)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(stop)
	return stop
}

func confirmed(w light.Report) bool { return w.Acknowledged && !w.Unanswered && w.Confirmed }

// TestLampReportsBack: each form that a lamp may answer in, over a real broker.
func TestLampReportsBack(t *testing.T) {
	words, answers := map[light.Meaning]string{}, map[light.Meaning]string{}
	for _, m := range light.Meanings() {
		words[m], answers[m] = "set "+string(m), "is "+string(m)
	}
	repeats := func(payload string) string { return payload }
	for name, c := range map[string]struct {
		light  Light
		topic  string
		answer func(string) string
	}{
		"its own words":      {Light{Topic: "hall/lamp/set", Payloads: words}, "hall/lamp/set", repeats},
		"its own answers":    {Light{Topic: "hall/lamp/set", Payloads: words, Answers: answers}, "hall/lamp/set", func(s string) string { return "is" + strings.TrimPrefix(s, "set") }},
		"the word":           {Light{Reads: []topics.Form{topics.FormMeaning}}, "potlife/bench-1/light/light-1/meaning", repeats},
		"the colour":         {Light{Reads: []topics.Form{topics.FormColour}}, "potlife/bench-1/light/light-1/colour", repeats},
		"the JSON as it is":  {Light{Reads: []topics.Form{topics.FormJSON}}, "potlife/bench-1/light/light-1", repeats},
		"JSON, what matters": {Light{Reads: []topics.Form{topics.FormJSON}}, "potlife/bench-1/light/light-1", func(string) string { return `{"lamp":"x","meaning":"in-order","flashing":false}` }},
	} {
		t.Run(name, func(t *testing.T) {
			b := newMosquitto(t)
			answering(t, b.Addr(), c.topic, "hall/lamp/state", c.answer)
			c.light.ID, c.light.Confirms = "light-1", "hall/lamp/state"
			_, receiver, stop := runsWith(t, b, c.light)
			mqtttest.Until(t, "the lamp to confirm", func() bool { return confirmed(receiver.state()) })
			stop()
		})
	}
}

// TestLampReportsBackOnTheBuiltInBroker: a guest may answer where a lamp does, and
// nowhere else.
func TestLampReportsBackOnTheBuiltInBroker(t *testing.T) {
	l := Light{ID: "light-1", Reads: []topics.Form{topics.FormMeaning}, Confirms: "hall/lamp/state"}
	says := func(s string) string { return s }
	elsewhere := newBuiltInFor(t)
	answering(t, elsewhere.Addr(), "potlife/bench-1/light/light-1/meaning", "hall/lamp/state", says)
	_, receiver, stop := runsWith(t, elsewhere, l)
	mqtttest.Until(t, "the lamp to get the message", func() bool { return receiver.state().Acknowledged && receiver.state().Unanswered })
	mqtttest.Until(t, "the answer to be refused", func() bool { return elsewhere.refusals() > 0 })
	stop()
	b := newBuiltInFor(t, broker.Light{ID: l.ID, Confirms: l.Confirms})
	answering(t, b.Addr(), "potlife/bench-1/light/light-1/meaning", "hall/lamp/state", says)
	_, receiver, stop = runsWith(t, b, l)
	mqtttest.Until(t, "the lamp to confirm", func() bool { return confirmed(receiver.state()) })
	stop()
}

// TestRetainedConfirmationProvesNothing: the broker still holds the confirmation of a lamp that
// failed long ago, and it happens to be the right one.
func TestRetainedConfirmationProvesNothing(t *testing.T) {
	b := newMosquitto(t).(mosquittoBroker)
	b.Publish("-t", "hall/lamp/state", "-r", "-q", "1", "-m", "in-order")
	relay := mqtttest.NewRelay(t, b.Addr())
	r := newFixture()
	receiver := &confirmingBench{fakeBench: r.bench}
	s := testSettings("mqtt://" + relay.Addr())
	s.Lights = []Light{{ID: "light-1", Reads: []topics.Form{topics.FormMeaning}, Confirms: "hall/lamp/state"}}
	stop := runs(t, r, receiver, s)
	owes := func() bool { w := receiver.state(); return w.Acknowledged && w.Unanswered }
	mqtttest.Until(t, "the lamp to get the message", owes)
	relay.Cut()
	mqtttest.Until(t, "the loss to be reported", func() bool { return !receiver.state().Acknowledged })
	relay.Mend()
	mqtttest.Until(t, "the lamp to get the message again", owes)
	stop() // after which no more reports come
	for _, w := range receiver.reports {
		if w.Confirmed || w.Says != "" {
			t.Errorf("by what was retained: %+v", w)
		}
	}
}

// TestLampThatShowsSomethingElse: it goes on confirming an earlier message.
func TestLampThatShowsSomethingElse(t *testing.T) {
	b := newMosquitto(t)
	var mu sync.Mutex
	stuck := ""
	answering(t, b.Addr(), "hall/lamp/set", "hall/lamp/state", func(s string) string {
		mu.Lock()
		defer mu.Unlock()
		if stuck != "" {
			return stuck
		}
		return s
	})
	words := map[light.Meaning]string{}
	for _, m := range light.Meanings() {
		words[m] = fmt.Sprintf(`{"scene":%q}`, m)
	}
	flashing := map[light.Meaning]string{light.DoNotPrint: `{"scene":"do-not-print","blink":true}`}
	r, receiver, stop := runsWith(t, b, Light{ID: "light-1", Topic: "hall/lamp/set", Payloads: words, Flashing: flashing, Confirms: "hall/lamp/state"})
	mqtttest.Until(t, "the lamp to confirm", func() bool { return confirmed(receiver.state()) })
	mu.Lock()
	stuck = words[light.InOrder]
	mu.Unlock()
	r.bench.change(func(s *view.Snapshot) { s.Lights[0].Meaning = light.DoNotPrint })
	mqtttest.Until(t, "the wrong confirmation to be reported", func() bool { w := receiver.state(); return w.Unanswered && w.Says == words[light.InOrder] })
	mu.Lock()
	stuck = ""
	mu.Unlock()
	r.bench.change(func(s *view.Snapshot) { s.Lights[0].Flashing = true })
	mqtttest.Until(t, "the lamp to confirm that it flashes", func() bool { return confirmed(receiver.state()) })
	stop()
}

// TestConfirmationsOfAnySize: whatever a lamp answers, its messages are not delayed.
func TestConfirmationsOfAnySize(t *testing.T) {
	b := newMosquitto(t)
	answering(t, b.Addr(), "potlife/bench-1/light/light-1/meaning", "hall/lamp/state", func(string) string { return strings.Repeat("x", 100_000) })
	w := mqtttest.Subscribe(t, b.Addr())
	r, receiver, stop := runsWith(t, b, Light{ID: "light-1", Reads: []topics.Form{topics.FormMeaning}, Confirms: "hall/lamp/state"})
	for _, m := range light.Meanings() {
		from := w.Count()
		r.bench.change(func(s *view.Snapshot) { s.Lights[0].Meaning, s.Lights[0].Reason = m, "now "+string(m) })
		w.ExpectAfter(t, from, string(m), mqtttest.Is("potlife/bench-1/light/light-1/meaning", string(m)))
	}
	if w := receiver.state(); w.Confirmed || utf8.RuneCountInString(w.Says) > 81 {
		t.Errorf("%+v", w)
	}
	stop()
}

// FuzzLampAnswer: whatever a lamp answers, it is compared without harm, and confirms
// nothing that it does not say.
func FuzzLampAnswer(f *testing.F) {
	for _, s := range []string{"in-order", `{"meaning":"in-order","flashing":false}`, `{"meaning":"do-not-print","flashing":true}`, `{"meaning":7}`, "", "\x00\xff", `{"flashing":true}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, answer []byte) {
		l := &lightTopic{form: topics.FormJSON}
		v := view.Light{Meaning: light.DoNotPrint, Colour: "red"}
		var now time.Duration
		c := newConfirmation(&now)
		c.sent(c.sending(l.wants(v)), true)
		c.received(l.comparable(answer))
		w := c.state()
		if w.Confirmed && l.comparable(answer) != "do-not-print" || utf8.RuneCountInString(w.Says) > 81 {
			t.Errorf("%q: %+v", answer, w)
		}
	})
}
