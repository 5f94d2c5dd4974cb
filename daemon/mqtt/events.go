package mqtt

import (
	"context"
	"time"

	"potlifed/daemon/view"
)

// sendEvents sends the next portion of events, once the previous one has come back.
func (p *Publisher) sendEvents(ctx context.Context, snap *view.Snapshot) {
	p.more = false
	if !p.loadCursor(ctx, snap) {
		return
	}
	var err error
	now := time.Now()
	p.settle(now)
	if snap.Seq > p.outbox.cursor && !now.Before(p.pauseUntil) {
		err = p.sendPortion(ctx)
		p.settle(time.Now())
	}
	if err == nil {
		err = p.outbox.store(ctx)
	}
	if err != nil && ctx.Err() == nil {
		p.journalFailed(err)
		return
	}
	p.more = p.outbox.loaded && len(p.outbox.inFlight) == 0 && snap.Seq > p.outbox.cursor
	if p.outbox.dropped {
		p.dropped.set(p.topics.Event(), true)
	}
}

// settle advances the cursor over the events that have come back.
func (p *Publisher) settle(now time.Time) {
	if p.outbox.settle(now) {
		p.dropped.set(p.topics.Event(), false)
	}
}

func (p *Publisher) sendPortion(ctx context.Context) error {
	events, err := p.outbox.next(ctx, time.Now())
	if err != nil || len(events) == 0 {
		if len(p.outbox.inFlight) == 0 {
			p.pauseUntil = time.Now().Add(p.pause) // the journal does not have them yet
		}
		return err
	}
	messages := make([]message, len(events))
	for i, e := range events {
		messages[i] = message{topic: p.topics.Event(), qos: 1, payload: e.JSON}
	}
	acknowledged := p.outbox.sent(events, p.send(messages), time.Now())
	for _, e := range events[:acknowledged] {
		touch(p.touched, e)
	}
	if len(events) == portion || acknowledged < len(events) {
		p.pauseUntil = time.Now().Add(p.pause)
	}
	return nil
}

// loadCursor reads how far events were sent, once, and reports whether that is known.
func (p *Publisher) loadCursor(ctx context.Context, snap *view.Snapshot) bool {
	if time.Now().Before(p.journalRetryAt) {
		return false
	}
	err := p.outbox.load(ctx, snap.Seq)
	if err != nil && ctx.Err() == nil {
		p.journalFailed(err)
	}
	return err == nil
}

// journalFailed logs that the journal could not be read or written, and waits before the next attempt.
func (p *Publisher) journalFailed(err error) {
	p.log.Warn("events are not sent: the journal cannot be read or written", "err", err)
	p.journalRetryAt = time.Now().Add(p.journalRetry)
}
