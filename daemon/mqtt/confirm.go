package mqtt

import (
	"context"
	"encoding/json"
	"strings"
	"sync"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/light"
)

// LampTaker is a [Bench] that wants to know how the lamps stand that report back.
type LampTaker interface {
	// Lamp takes in how a lamp stands. It may block while the bench is far behind.
	Lamp(ctx context.Context, light string, w light.Report)
}

const (
	mostAsks  = 16 // that a lamp may owe an answer to; more make it no more silent
	mostSaid  = 80 // bytes of an answer that are passed on
	mostReply = 4 << 10
)

// confirmation follows whether a lamp answers what it is told, on one topic, each
// message anew: a lamp that died after its last answer owes the next one.
//
// An answer settles the newest message that it equals, and all before it. One that
// equals none says that the lamp shows something else: it then owes the right answer
// from that moment on. What the broker had retained was said at some time before it was
// subscribed to, to nobody knows what, and proves nothing; answers count only from the
// same connection that what they answer was sent on.
//
// The mutex guards all that changes: answers come in on the library's goroutine.
type confirmation struct {
	light   string
	taker   LampTaker
	now     func() time.Duration // the clock's monotonic time
	changed chan struct{}        // capacity 1

	mu       sync.Mutex
	asks     []ask // owed, oldest first
	last     string
	told     bool // something was taken by the broker on this connection
	asked    uint64
	wasRight bool
	rightAt  time.Duration
	says     string
	deaf     string
}

type ask struct {
	id   uint64
	want string
	at   time.Duration
}

// begin remembers what is about to be sent, before it is: the answer may come before the
// broker's acknowledgement.
func (c *confirmation) begin(want string) (id uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asked++
	a := ask{c.asked, want, c.now()}
	if len(c.asks) >= mostAsks {
		c.asks = c.asks[:mostAsks-1] // the oldest says how long it has been silent
	}
	c.asks, c.last = append(c.asks, a), want
	return a.id
}

// end says whether the broker has taken what was begun.
func (c *confirmation) end(id uint64, taken bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.told = c.told || taken
	if n := len(c.asks); !taken && n > 0 && c.asks[n-1].id == id {
		c.asks = c.asks[:n-1]
	}
	c.tell()
}

// anew forgets what was sent on a connection that is no more.
func (c *confirmation) anew() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.told && len(c.asks) == 0 {
		return
	}
	c.asks, c.last, c.told, c.says = nil, "", false, ""
	c.tell()
}

// hear takes an answer.
func (c *confirmation) hear(answer string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.last == "" {
		return // nothing has been asked yet
	}
	at := c.now()
	for i := len(c.asks) - 1; i >= 0; i-- {
		if c.asks[i].want == answer {
			c.asks = append([]ask(nil), c.asks[i+1:]...)
			c.wasRight, c.rightAt, c.says = true, at, ""
			c.tell()
			return
		}
	}
	switch {
	case len(c.asks) > 0:
		c.says = answer
	case answer == c.last: // it says so of its own accord
		c.wasRight, c.rightAt = true, at
	default:
		c.asks, c.says = []ask{{want: c.last, at: at}}, answer
	}
	c.tell()
}

// listening remembers why the answers cannot be heard, or that they can.
func (c *confirmation) listening(deaf string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.deaf = deaf
	c.tell()
}

func (c *confirmation) tell() {
	select {
	case c.changed <- struct{}{}:
	default:
	}
}

func (c *confirmation) word() light.Report {
	c.mu.Lock()
	defer c.mu.Unlock()
	w := light.Report{
		Told: c.told, Owing: len(c.asks) > 0, Confirmed: c.wasRight, ConfirmedAt: c.rightAt,
		Says: shortened(c.says), Deaf: c.deaf,
	}
	if w.Owing {
		w.OwesSince = c.asks[0].at
	}
	return w
}

// report hands each change to the bench, until the context ends. It may wait for a bench
// that is far behind, which the lamp itself must not.
func (c *confirmation) report(ctx context.Context) {
	for {
		select {
		case <-c.changed:
			c.taker.Lamp(ctx, c.light, c.word())
		case <-ctx.Done():
			return
		}
	}
}

// shortened is text for a person, with nothing in it that would spoil a line.
func shortened(s string) string {
	s = strings.ToValidUTF8(s, "?")
	if len(s) > mostSaid {
		s = strings.ToValidUTF8(s[:mostSaid], "") + "…"
	}
	return s
}

// reportsBack makes a lamp's connection listen for its answers.
func (l *lamp) reportsBack(p *Publisher, topic string, answers map[light.Meaning]string) {
	taker, ok := p.bench.(LampTaker)
	if topic == "" || !ok {
		return
	}
	l.answers = answers
	l.confirm = &confirmation{
		light: l.id, taker: taker, changed: make(chan struct{}, 1),
		now: func() time.Duration { _, mono := l.now(); return mono },
	}
	l.answersOn = topic
}

// wants is the answer that confirms a payload.
func (l *lamp) wants(v view.Light) string {
	if answer, ok := l.answers[v.Meaning]; ok {
		return answer
	}
	return l.read(l.payload(v))
}

// read brings what was sent, or the answer to it, into a form that can be compared. Of
// JSON on our own topic it is what the lamp shows; the times in it differ with each
// repetition.
func (l *lamp) read(payload []byte) string {
	if l.form != FormJSON || l.answers != nil {
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
