package bench

import (
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/config"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
)

// decide applies a decision and queues its record.
func (b *Bench) decide(at time.Time, by actor.Name, body record.Body) record.Record {
	moves, were := record.ChangesPresses(body), b.state.Presses
	if moves { // so that a batch's prints come before its next press or its end
		b.closeTallies(at)
	}
	r := b.apply(record.Record{Stamp: b.clock.stamp(at), By: by, Body: body})
	if moves {
		b.noteTakenOff(were, at)
		b.noteConditions(at)
	}
	return r
}

// apply applies a record and queues it. An event that cannot be written out, such as one
// with an infinite figure, is not applied: in the journal's hands it would shut out the
// records of everybody else.
func (b *Bench) apply(r record.Record) record.Record {
	b.dirty = true
	step := isStep(r)
	if !step {
		if err := r.Encode(); err != nil {
			b.log.Error("an event cannot be written out and is not applied", "kind", r.Body.Kind(), "err", err)
			if b.write.unencodable == nil {
				b.write.unencodable = err
			}
			return r
		}
		if r.IsEvent() {
			r.Seq = b.state.Seq + 1
		}
		b.write.urgent = true
	}
	b.state = record.Apply(b.state, r)
	if step && b.write.failing != nil && len(b.write.queue.records) >= mostQueued {
		b.write.skipped = true
		return r
	}
	if len(b.write.queue.records) == 0 {
		b.write.queuedSince = r.Stamp.Mono
	}
	b.write.queue.records = append(b.write.queue.records, r)
	return r
}

// flush sends what waits to the journal. Events go at once; air steps alone wait for
// company until a minute of them is together, because each commit costs a card more
// than its records do.
func (b *Bench) flush() {
	p := &b.write
	mono := b.clock.mono()
	if p.flight != nil || p.failing != nil && mono < p.retryAt {
		return
	}
	if !p.urgent && !p.checkpoint {
		if len(p.queue.records) == 0 || mono-p.queuedSince < time.Minute {
			return
		}
	}
	g := p.queue
	g.after, g.events = b.state, p.urgent
	send := journal.Group{Records: g.records}
	if g.checkpoint = p.checkpoint; g.checkpoint {
		send.Checkpoint = &g.after
		send.Thin = thinning(b.state, b.shop.Retention, b.clock.now())
	}
	b.journal.Groups() <- send // there is room: nothing is under way
	p.flight, p.queue, p.urgent, p.checkpoint = &g, group{}, false, false
	p.sentAt = mono
	b.writing.Store(int64(mono))
}

// thinning is how far back air is kept as it was recorded: as long as the configuration
// says, and for as long as a batch that lived in it is open.
func thinning(s record.State, keep config.Retention, now time.Time) *journal.Thinning {
	t := journal.Thinning{RawBefore: now.Add(-keep.Raw), MinutesBefore: now.Add(-keep.Minutes), CountedBefore: s.Last.At}
	for _, open := range s.Open {
		if open.First.Before(t.CountedBefore) {
			t.CountedBefore = open.First
		}
	}
	for _, batch := range s.Batches {
		if !batch.MixedAt.IsZero() && batch.MixedAt.Before(t.RawBefore) {
			t.RawBefore = batch.MixedAt
		}
	}
	if t.RawBefore.Before(t.MinutesBefore) {
		t.MinutesBefore = t.RawBefore
	}
	return &t
}

// acknowledged takes in the journal's answer to the group under way.
func (b *Bench) acknowledged(err error) {
	p := &b.write
	g := p.flight
	p.flight = nil
	b.writing.Store(0)
	b.dirty = true
	if err != nil {
		b.failed(g, err)
		return
	}
	p.durable = g.after
	if p.since += len(g.records); g.checkpoint {
		p.since = 0
	}
	b.keys.onDisk(g.records)
	b.logWritten(g.records)
	if p.failing != nil {
		b.log.Info("the journal writes again", "records", len(g.records))
		p.failing = nil
		p.checkpoint, p.skipped = p.checkpoint || p.skipped, false
	}
	p.written(g.after)
	b.publish(b.clock.now()) // first, so that a caller who was answered finds the change
	for _, w := range g.waiters {
		w.done(true)
	}
}

// failed undoes what people asked for and was not written, except what must be
// possible with a dead card, and keeps the rest to be tried again.
func (b *Bench) failed(g *group, err error) {
	p := &b.write
	if p.failing == nil {
		b.log.Error("the journal cannot write", "err", err)
	}
	p.failing = err
	p.retryAt = b.clock.mono() + retryEvery
	all := group{
		records: slices.Concat(g.records, p.queue.records),
		waiters: slices.Clone(g.waiters),
	}
	for _, w := range p.queue.waiters {
		w.first += len(g.records)
		w.last += len(g.records)
		all.waiters = append(all.waiters, w)
	}
	drop := make([]bool, len(all.records))
	defer func() {
		b.publish(b.clock.now())
		for _, w := range all.waiters {
			if withoutDisk(w.request.Change) {
				w.done(false)
			} else {
				w.refuse(b.shop.asRefusal(cannotWrite(err)))
			}
		}
	}()
	for _, w := range all.waiters {
		if withoutDisk(w.request.Change) {
			continue
		}
		for i := w.first; i < w.last; i++ {
			drop[i] = !isStep(all.records[i]) // the air was what it was
		}
	}
	for i, r := range all.records {
		// It may contain reports that are dropped. The tallies that stay get an event again.
		drop[i] = drop[i] || endsMinute(r.Body)
	}
	p.steps = nil                     // they are in the newest state, which is shown from here on
	if !slices.Contains(drop, true) { // nothing to undo: the state stands as it is
		p.queue = group{records: all.records}
		p.urgent = true
		p.show(b.state)
		return
	}
	for _, s := range b.scales { // what was undone may have been about whose cup stands there
		s.cups.Forget()
	}
	p.queue, p.urgent = group{}, true
	b.state = p.durable
	for i, r := range all.records {
		b.keys.forget(r)
		if !drop[i] && stillTrue(b.state, r) {
			if r = b.apply(r); r.Answer != nil && r.IsEvent() { // its number may be another now
				b.keys.add(r.Answer.Key, keyed{hash: r.Answer.Hash, at: r.Answer.At, seq: r.Seq, body: r.Answer.Body})
			}
		}
	}
	p.show(b.state)
}

// stillTrue reports whether a record means anything when the change that began its
// batch was undone.
func stillTrue(s record.State, r record.Record) bool {
	id := r.Body.About()
	if _, began := r.Body.(record.MixStarted); began || id == "" {
		return true
	}
	if _, began := r.Body.(record.Recorded); began {
		return true
	}
	_, open := s.Batches[id]
	return open
}

// closeTallies writes the events of all counts that have none yet.
func (b *Bench) closeTallies(now time.Time) {
	for _, t := range b.state.Open {
		b.decide(now, t.By, t.Event())
	}
}

// endsMinute reports whether a body contains the reports of a minute.
func endsMinute(body record.Body) bool {
	switch body.(type) {
	case record.Printed, record.Defects:
		return true
	}
	return false
}
