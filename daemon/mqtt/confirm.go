package mqtt

import (
	"context"
	"encoding/json"
	"sync"
	"time"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// LampReceiver is an optional interface of [Bench]: it receives what lamps confirm.
type LampReceiver interface {
	// Lamp receives the confirmation state of a light's lamp. It may block while the bench
	// is far behind.
	Lamp(ctx context.Context, light string, state light.Report)
}

// maxPending is how many confirmations a lamp may owe; more would not change what is reported.
const maxPending = 16

// confirmation follows, on one topic, whether a lamp confirms each message that it was sent:
// a lamp that failed after its last confirmation owes the next one.
//
// A confirmation settles the newest message that it equals and all earlier ones. One that
// equals none means that the lamp shows something else: from then on it owes the right
// confirmation. A retained confirmation proves nothing, since it is not known which message
// it answered; and only one that comes over the connection of the message counts.
//
// The mutex guards all that changes: confirmations arrive on the library's goroutine.
type confirmation struct {
	light    string
	receiver LampReceiver
	now      func() time.Duration // the clock's monotonic time
	changed  chan struct{}        // capacity 1

	mu           sync.Mutex
	pending      []pendingConfirmation // oldest first
	last         string                // the confirmation of the newest message
	acknowledged bool                  // the broker has acknowledged a message on this connection
	lastID       uint64
	confirmed    bool
	confirmedAt  time.Duration
	says         string // what the lamp shows instead
	refused      string // why its confirmations cannot be read
}

// pendingConfirmation is a confirmation that the lamp owes.
type pendingConfirmation struct {
	id   uint64
	want string
	at   time.Duration
}

// sending records that a message is about to be sent: its confirmation may come before the
// broker's acknowledgement. It returns an id for sent.
func (c *confirmation) sending(want string) (id uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.lastID++
	next := pendingConfirmation{c.lastID, want, c.now()}
	if len(c.pending) >= maxPending {
		c.pending = c.pending[:maxPending-1] // the oldest tells how long the lamp has been silent
	}
	c.pending, c.last = append(c.pending, next), want
	return next.id
}

// sent records whether the broker has acknowledged the message.
func (c *confirmation) sent(id uint64, ok bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.acknowledged = c.acknowledged || ok
	if n := len(c.pending); !ok && n > 0 && c.pending[n-1].id == id {
		c.pending = c.pending[:n-1]
	}
	c.notify()
}

// reset forgets what was sent on a connection that was lost.
func (c *confirmation) reset() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.acknowledged && len(c.pending) == 0 {
		return
	}
	c.pending, c.last, c.acknowledged, c.says = nil, "", false, ""
	c.notify()
}

// received takes a confirmation.
func (c *confirmation) received(shows string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.last == "" {
		return // nothing has been sent yet
	}
	at := c.now()
	for i := len(c.pending) - 1; i >= 0; i-- {
		if c.pending[i].want == shows {
			c.pending = append([]pendingConfirmation(nil), c.pending[i+1:]...)
			c.confirmed, c.confirmedAt, c.says = true, at, ""
			c.notify()
			return
		}
	}
	switch {
	case len(c.pending) > 0:
		c.says = shows
	case shows == c.last: // the lamp repeats it without being asked
		c.confirmed, c.confirmedAt = true, at
	default:
		c.pending, c.says = []pendingConfirmation{{want: c.last, at: at}}, shows
	}
	c.notify()
}

// subscribed records why the confirmations cannot be read, empty where they can.
func (c *confirmation) subscribed(refused string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.refused = refused
	c.notify()
}

func (c *confirmation) notify() {
	select {
	case c.changed <- struct{}{}:
	default:
	}
}

// state returns what is known of the lamp.
func (c *confirmation) state() light.Report {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := light.Report{
		Acknowledged: c.acknowledged, Unanswered: len(c.pending) > 0, Confirmed: c.confirmed, ConfirmedAt: c.confirmedAt,
		Says: excerpt.Short(c.says), Unreadable: c.refused,
	}
	if s.Unanswered {
		s.UnansweredSince = c.pending[0].at
	}
	return s
}

// report passes each change to the bench until the context ends. It may wait for a bench
// that is far behind; the lamp itself must not.
func (c *confirmation) report(ctx context.Context) {
	for {
		select {
		case <-c.changed:
			c.receiver.Lamp(ctx, c.light, c.state())
		case <-ctx.Done():
			return
		}
	}
}

// readConfirmations makes the light's connection subscribe to what its lamp confirms.
func (l *lightTopic) readConfirmations(p *Publisher, topic string, answers map[light.Meaning]string) {
	receiver, ok := p.bench.(LampReceiver)
	if topic == "" || !ok {
		return
	}
	l.answers = answers
	l.confirm = &confirmation{
		light: l.id, receiver: receiver, changed: make(chan struct{}, 1),
		now: func() time.Duration { _, mono := l.now(); return mono },
	}
	l.confirmTopic = topic
}

// wants returns the confirmation of what a light is to show.
func (l *lightTopic) wants(v view.Light) string {
	if answer, ok := l.answers[v.Meaning]; ok {
		return answer
	}
	return l.comparable(l.payload(v))
}

// comparable returns a payload, or the confirmation of one, in a form that can be compared.
// Of JSON on our own topic that is what the lamp shows; the times in it differ with each
// repetition.
func (l *lightTopic) comparable(payload []byte) string {
	if l.form != topics.FormJSON || l.answers != nil {
		return string(payload)
	}
	var shows struct {
		Meaning  light.Meaning `json:"meaning"`
		Flashing bool          `json:"flashing"`
	}
	if json.Unmarshal(payload, &shows) != nil || shows.Meaning == "" {
		return string(payload)
	}
	if shows.Flashing {
		return string(shows.Meaning) + ", flashing"
	}
	return string(shows.Meaning)
}
