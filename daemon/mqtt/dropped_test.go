package mqtt

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// everythingBut are rules that allow everything under the bench but one thing on one
// topic.
func everythingBut(topic, may string) string {
	rules := "topic " + may + " " + root + topic + "\n"
	for _, other := range []string{
		"availability", "daemon", "event", "air/#", "scale/#", "sensor/#", "batch/#", "alarm/#", "do/#", "done/#",
		"light/light-1", "light/light-1/meaning",
	} {
		if other != topic {
			rules += "topic readwrite " + root + other + "\n"
		}
	}
	return rules
}

// A broker with access rules acknowledges what it drops. The topic is named, and when the rules
// are corrected, what was dropped is published without a gap.
func TestBrokerThatRefusesATopic(t *testing.T) {
	for name, c := range map[string]struct{ topic, may string }{
		"events may not be written":    {"event", "read"},
		"events may not be read":       {"event", "write"},
		"one light may not be written": {"light/light-1/meaning", "read"},
		"batches may not be written":   {"batch/#", "read"},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMosquitto(t).(mosquittoBroker)
			m.Allow(everythingBut(c.topic, c.may))
			r := newFixture()
			w := mqtttest.Subscribe(t, m.Addr())
			p, _ := runPublisher(t, r, m.settings(), func(p *Publisher) {
				p.outbox.patience, p.outbox.retry, p.pause = 200*time.Millisecond, 200*time.Millisecond, time.Millisecond
			})
			const before, after = 3 * portion, 20
			for range before {
				r.event("0612-1", nil)
			}
			mqtttest.Until(t, "the topic alone to be named", func() bool { // on a busy machine others are late, and named for a moment
				text := p.Status().Dropped
				return strings.Contains(text, strings.TrimSuffix(root+c.topic, "#")) && strings.Contains(text, "allow our user") &&
					strings.Count(text, root) == 1
			})
			// The other topics are not delayed.
			r.bench.change(func(s *view.Snapshot) { s.Air = []view.Air{airView(s.At, 33, 50)} })
			w.Expect(t, "air", mqtttest.JSONHas(root+"air/bench", "temperature_c", 33.0))
			if c.topic == "event" {
				if seq, err := r.journal.Cursor(t.Context(), hallCursor); err != nil || seq != 0 {
					t.Errorf("cursor %d, %v: moved over events that nobody has", seq, err)
				}
				if n := p.Status().Waiting; n < before {
					t.Errorf("%d wait, want %d at least", n, before)
				}
			} else {
				w.Expect(t, "the last event", mqtttest.JSONHas(root+"event", "seq", float64(before)))
			}
			m.Allow("topic readwrite potlife/#\n")
			for range after {
				r.event("0612-1", func(s *view.Snapshot) { s.Lights[0].Reason += "." })
			}
			mqtttest.Until(t, "no topic to be named", func() bool {
				seq, err := r.journal.Cursor(t.Context(), hallCursor)
				return err == nil && seq == before+after && p.Status().Dropped == ""
			})
			w.Expect(t, "the last event", mqtttest.JSONHas(root+"event", "seq", float64(before+after)))
			w.Expect(t, "the light", mqtttest.Is(root+"light/light-1/meaning", "in-order"))
			w.Expect(t, "the batch", mqtttest.JSONHas(root+"batch/0612-1", "ink", "dial-satin"))
			inOrder(t, w, before+after)
		})
	}
}

// Answers that the broker drops are detected like states, and the lost one is published again
// when the rules are corrected.
func TestBrokerThatRefusesAnswers(t *testing.T) {
	m := newMosquitto(t).(mosquittoBroker)
	m.Allow(everythingBut("done/#", "read"))
	r := newFixture()
	r.bench.do = func(context.Context, request.Request) (request.Reply, error) {
		return request.Reply{Body: json.RawMessage(`{"id":"press-1"}`), OnDisk: true}, nil
	}
	w := mqtttest.Subscribe(t, m.Addr())
	p, _ := runPublisher(t, r, m.settings(), func(p *Publisher) {
		p.outbox.patience, p.outbox.retry = 200*time.Millisecond, 200*time.Millisecond
	})
	mqtttest.Until(t, "the connection", p.Connected)
	w.Expect(t, "a state", mqtttest.JSONHas(root+"batch/0612-1", "ink", "dial-satin"))
	if text := p.Status().Dropped; text != "" {
		t.Errorf("before anything was answered: %s", text)
	}
	publishCommand(t, w, "prints", commandAt("r-1", time.Now(), `,"press":"press-1","add":5`))
	mqtttest.Until(t, "the topic to be named", func() bool { return strings.Contains(p.Status().Dropped, root+"done/+") })
	if n := len(w.On(root + "done/prints")); n != 0 {
		t.Errorf("%d answers came through", n)
	}
	m.Allow("topic readwrite potlife/#\n")
	w.Expect(t, "the answer", mqtttest.JSONHas(root+"done/prints", "ref", "r-1"))
	mqtttest.Until(t, "no topic to be named", func() bool { return p.Status().Dropped == "" })
}

// inOrder checks that the first copies of all events came in order.
func inOrder(t *testing.T, w *mqtttest.Subscriber, last int) {
	t.Helper()
	next := 1
	for _, m := range w.On(root + "event") {
		var e struct{ Seq int }
		if err := json.Unmarshal([]byte(m.Payload), &e); err != nil {
			t.Fatal(err)
		}
		switch {
		case e.Seq == next:
			next++
		case e.Seq > next:
			t.Fatalf("event %d after %d: one is missing or out of order", e.Seq, next-1)
		}
	}
	if next != last+1 {
		t.Errorf("received up to %d of %d", next-1, last)
	}
}
