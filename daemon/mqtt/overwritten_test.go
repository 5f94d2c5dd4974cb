package mqtt

import (
	"bytes"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// On a broker without access rules another client publishes on the topics of the daemon. Each is
// named and gets its value back, long before the daemon would send it anyway.
func TestForgedMessagesAreOverwritten(t *testing.T) {
	m := newMosquitto(t).(mosquittoBroker)
	r := newFixture()
	now := r.clock.Now()
	r.clock.stopped = &now // nothing is sent again because of its age
	r.bench.change(func(s *view.Snapshot) {
		s.Lights[0].Meaning, s.Lights[0].Colour, s.Lights[0].Cause = light.DoNotPrint, light.DoNotPrint.Colour(), light.RiskTooHigh
		s.Alarms = []view.Alarm{{Time: s.At, Seq: 3, Name: "batch-dead", Subject: "0612-1", State: "unacknowledged", Since: s.At}}
	})
	w := mqtttest.Subscribe(t, m.Addr())
	p, _ := runPublisher(t, r, m.settings(), func(p *Publisher) { p.retainedWait = 0 })
	mqtttest.Until(t, "nothing to wait", func() bool { return p.Connected() && p.Status().Waiting == 0 })
	w.Expect(t, "the light", mqtttest.Is(root+"light/light-1/meaning", "do-not-print"))
	w.Expect(t, "the light", mqtttest.JSONHas(root+"light/light-1", "meaning", "do-not-print"))
	if text := p.Status().Foreign; text != "" {
		t.Errorf("names its own messages: %s", text)
	}
	forged := map[string]string{
		"light/light-1/meaning":   "in-order",
		"light/light-1":           `{"meaning":"in-order","colour":"green"}`,
		"availability":            "away",
		"daemon":                  `{"instance":"one","version":"forged"}`,
		"air/bench":               `{"temperature_c":5}`,
		"scale/scale-1":           "",
		"sensor/bench-air":        `{"condition":"up"}`,
		"batch/0612-1":            `{"state":"open"}`,
		"alarm/batch-dead/0612-1": "",
	}
	told := m.Retained(root + "#")
	// The wills of its own connections, which a broker publishes when it is stopped in good order, are nobody else's.
	for topic, payload := range map[string]string{"availability": "offline", "light/light-1/meaning": "unknown"} {
		before := w.Count()
		m.Publish("-r", "-t", root+topic, "-m", payload)
		w.ExpectAfter(t, before, "the value of "+topic+" again", mqtttest.Is(root+topic, told[root+topic]))
		if text := p.Status().Foreign; text != "" {
			t.Errorf("its own will on %s is another client's: %s", topic, text)
		}
	}
	for topic, payload := range forged {
		before := w.Count()
		m.Publish("-r", "-t", root+topic, "-m", payload)
		w.ExpectAfter(t, before, "the forged "+topic, mqtttest.Is(root+topic, payload))
		again := w.ExpectAfter(t, before, "the value of "+topic, func(got mqtttest.Message) bool {
			return got.Topic == root+topic && got.Payload != payload
		})
		if payload := told[root+topic]; !strings.HasPrefix(payload, "{") && again.Payload != payload {
			t.Errorf("%s: %q is sent again, want %q", topic, again.Payload, payload)
		}
		if text := p.Status().Foreign; !strings.Contains(text, "another client published on ") || !strings.Contains(text, "allow only our user") {
			t.Errorf("Status().Foreign is %q after a message on %s", text, topic)
		}
	}
	// What does not exist is ended.
	for _, topic := range []string{"batch/none", "light/light-1/colour"} {
		before := w.Count()
		m.Publish("-r", "-t", root+topic, "-m", "green")
		w.ExpectAfter(t, before, "the end of "+topic, mqtttest.Is(root+topic, ""))
	}
	held := m.Retained(root + "#")
	for topic := range forged {
		if held[root+topic] == "" || held[root+topic] == forged[topic] {
			t.Errorf("the broker holds %q on %s", held[root+topic], topic)
		}
	}
}

// The daemon's own `offline` at a clean stop comes back too, before the connection ends.
func TestStopNamesNobody(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newFixture()
		p, stop := runPublisher(t, r, b.settings())
		mqtttest.Until(t, "nothing to wait", func() bool { return p.Connected() && p.Status().Waiting == 0 })
		stop()
		if text := p.Status().Foreign; text != "" {
			t.Errorf("after a clean stop: %s", text)
		}
	})
}

// A busy broker that is two minutes behind, with a change each second, is not another client.
func TestALateEchoIsNobodyElses(t *testing.T) {
	var own ownTopics
	now := time.Unix(0, 0)
	for n := range 240 {
		own.sending("t", fmt.Append(nil, n))
		if n < 120 {
			continue
		}
		if _, foreign, _ := own.received("t", fmt.Append(nil, n-120), now); foreign {
			t.Fatalf("message %d is taken for another client's", n-120)
		}
	}
}

// Whatever the broker loses, and however late messages come back, the daemon never takes its own
// for another client's, and never another's for its own.
func TestOwnMessagesAreTold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var own ownTopics
		var way []string // sent and not back, oldest first
		last, n, foreign := "", 0, false
		now := time.Unix(0, 0).Add(time.Hour)
		var overwritten time.Time
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(0, 2000).Draw(t, "ms")) * time.Millisecond)
			switch rapid.IntRange(0, 3).Draw(t, "step") {
			case 0:
				n++
				last = fmt.Sprint("own ", n)
				own.sending("t", []byte(last))
				if way = append(way, last); len(way) > mostOnTheirWay {
					way = way[1:]
				}
			case 1: // the broker keeps the order and may lose some
				if len(way) == 0 {
					continue
				}
				i := rapid.IntRange(0, len(way)-1).Draw(t, "comes back")
				if known, other, _ := own.received("t", []byte(way[i]), now); !known || other {
					t.Fatalf("its own %q is known %v, foreign %v", way[i], known, other)
				}
				way = way[i+1:]
			case 2:
				known, other, due := own.received("t", []byte("forged"), now)
				if known != (n > 0) || other != (n > 0) {
					t.Fatalf("a forged message is known %v, foreign %v", known, other)
				}
				if foreign = foreign || other; due != (foreign && now.Sub(overwritten) >= overwriteEvery) {
					t.Fatalf("due %v", due)
				}
			case 3:
				due := own.take(now)
				if want := foreign && now.Sub(overwritten) >= overwriteEvery; (len(due) == 1) != want {
					t.Fatalf("take returns %v, want one: %v", due, want)
				}
				if len(due) > 0 {
					foreign, overwritten = false, now
				}
			}
		}
		own.ended("t")
		if known, _, _ := own.received("t", []byte("forged"), now); known {
			t.Fatal("an ended topic is known")
		}
	})
}

// The end of a topic may come back before the broker's acknowledgement of it, and is then nobody else's. The end of a
// topic on which nothing was sent is not kept.
func TestTheEndOfATopicIsNobodyElses(t *testing.T) {
	r := newFixture()
	p := New(Settings{Bench: "bench-1", Prefix: "potlife"}, r.bench, r.journal, r.clock, quietLog(), nil)
	const topic, never = root + "alarm/sensor-stale/hall-air", root + "batch/none"
	p.send([]message{{topic: topic, qos: 1, retained: true, payload: []byte(`{"state":"returned"}`)}})
	p.send([]message{{topic: topic, qos: 1, retained: true}, {topic: never, qos: 1, retained: true}})
	if known, foreign, _ := p.own.received(topic, nil, time.Now()); !known || foreign {
		t.Errorf("the end comes back: known %v, another client's %v", known, foreign)
	}
	if _, foreign, _ := p.own.received(topic, []byte("forged"), time.Now()); !foreign {
		t.Error("a forged message on the topic is nobody's")
	}
	if known, _, _ := p.own.received(never, nil, time.Now()); known {
		t.Error("a topic on which nothing was sent is known")
	}
}

// A flood of forged messages makes one line of the log a minute, and the topic is named for a
// minute after the last.
func TestForeignTopicIsNamedForAMinute(t *testing.T) {
	var log bytes.Buffer
	f := foreignTopics{user: "bench", log: slog.New(slog.NewTextHandler(&log, nil))}
	at := time.Unix(1e9, 0)
	for range 1000 {
		at = at.Add(time.Millisecond)
		f.add("potlife/bench-1/light/light-1", at)
	}
	if n := strings.Count(log.String(), "\n"); n != 1 {
		t.Errorf("%d lines", n)
	}
	const want = `another client published on potlife/bench-1/light/light-1: allow only user "bench" to write there`
	if got := f.text(at.Add(foreignNamedFor - 1)); got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := f.text(at.Add(foreignNamedFor)); got != "" {
		t.Errorf("named for ever: %q", got)
	}
}
