package bench

import (
	"context"
	"errors"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// keyBounces is how soon after a line of the print key another one is the same press:
// a glove presses twice, and some scales print a ticket of several lines. The time runs
// from the last such line, so that a key which is held down confirms once.
const keyBounces = 500 * time.Millisecond

// keyRefusalShown is how long the page says why the key did nothing.
const keyRefusalShown = 30 * time.Second

// keyPress is what a scale says when its print key is pressed.
type keyPress struct {
	scale string
	at    time.Duration // CLOCK_BOOTTIME
}

// refusedKeyPress is why a press of the key changed nothing.
type refusedKeyPress struct {
	request.Refusal
	at    time.Time
	batch string
	step  string
}

// ScaleKey takes in that a scale's print key was pressed.
func (b *Bench) ScaleKey(ctx context.Context, scale string) {
	b.enter(ctx, keyPress{scale: scale, at: b.clock.mono()})
}

// enter confirms the step of the mix that is weighed on the scale, with the same checks
// as any confirm; where none is, it acknowledges what awaits that.
func (k keyPress) enter(b *Bench, now time.Time) {
	s, known := b.scales[k.scale]
	if !known {
		return
	}
	bounced := s.keyed && k.at-s.keyAt < keyBounces
	s.keyAt, s.keyed = k.at, true
	s.linked = true
	if bounced {
		return
	}
	s.keyRefused = nil
	b.dirty = true
	if on := weighing(b.state, s.ID); on != nil {
		step := string(on.Mix.Step)
		if s.overtaken(on, k.at) {
			step = string(on.Mix.ByBench)
		}
		b.keyChange(s, request.ConfirmStep{Batch: on.ID, Step: step}, on.ID, step, now)
		return
	}
	for key, a := range b.state.Alarms {
		if a.State.Awaits() {
			b.keyChange(s, request.AcknowledgeAlarm{Alarm: key.Name, Subject: key.Subject}, "", "", now)
		}
	}
}

// keyMeansLast is how soon after a step that the bench confirmed by itself a press of the key
// still means that step: the person has not seen the next one yet.
const keyMeansLast = 2 * time.Second

// overtaken reports whether the bench has confirmed a step of a mix just before the key was
// pressed for it.
func (s *scale) overtaken(on *record.Batch, at time.Duration) bool {
	return on.Mix.ByBench != "" && s.byBench && at-s.byBenchAt < keyMeansLast
}

// keyChange makes a change for the key, as if somebody had asked for it by the scale's
// name.
func (b *Bench) keyChange(s *scale, c request.Change, batch, step string, now time.Time) {
	w := &waiter{request: request.Request{Change: c, By: actor.Name(s.ID)}, answer: make(chan answer, 1)}
	w.refused = func(err error) {
		var r *request.Refusal
		if errors.As(err, &r) {
			s.keyRefused = &refusedKeyPress{*r, b.clock.now(), batch, step}
			b.dirty = true
		}
	}
	w.enter(b, now)
}

// keyRefusalView is what the page says of a press that changed nothing, while that is news.
func (s *scale) keyRefusalView(on *record.Batch, now time.Time) *view.KeyRefusal {
	k := s.keyRefused
	if k == nil || now.Sub(k.at) > keyRefusalShown {
		return nil
	}
	if k.batch != "" && (on == nil || on.ID != k.batch || string(on.Mix.Step) != k.step) {
		return nil
	}
	return &view.KeyRefusal{At: k.at, Code: k.Code, Text: k.Text, Detail: k.Detail}
}
