package bench

import (
	"encoding/json"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
)

// pipeline is what lies between a decision and the disk. One group is under way at a
// time; what is decided meanwhile waits and is committed together.
//
// Invariant: durable is the state on disk; with the records of flight and then of
// queue applied it is the bench's state, unless steps were left out (skipped).
type pipeline struct {
	durable record.State
	shown   record.State // what may be published: no event in it is only in memory
	flight  *group
	queue   group

	// unencodable is why a record of the change under way cannot be written out, nil when
	// all can. Such a record is not applied, and the change is refused.
	unencodable error

	failing    error // why the journal cannot write, nil when it can
	checkpoint bool  // take one with the next group
	skipped    bool  // air steps were left out of a full queue; a checkpoint makes up for them
	urgent     bool  // the queue holds what somebody waits for

	// In CLOCK_BOOTTIME, which no step of the wall clock puts off.
	sentAt      time.Duration // the group under way
	retryAt     time.Duration // while failing
	queuedSince time.Duration // the oldest record of the queue
}

// group is a set of records that is committed at once.
type group struct {
	records []record.Record
	waiters []*waiter
	after   record.State
	events  bool // it holds events, not air steps alone
}

// waiter is a change that somebody waits for.
type waiter struct {
	request request.Request
	body    json.RawMessage
	first   int // its records in the group: from first to last
	last    int
	answer  chan answer // capacity 1: answering never blocks
	refused func(error) // where nobody waits: told of a refusal; may be nil
}

type answer struct {
	reply request.Reply
	err   error
}

func (w *waiter) refuse(err error) {
	w.answer <- answer{err: err}
	if w.refused != nil {
		w.refused(err)
	}
}

func (w *waiter) done(onDisk bool) {
	w.answer <- answer{reply: request.Reply{Body: w.body, OnDisk: onDisk}}
}

const (
	// mostQueued bounds what waits in memory while the journal cannot write.
	mostQueued = 20000
	retryEvery = 5 * time.Second
)

func (p *pipeline) busy() bool {
	return p.flight != nil || len(p.queue.records) > 0 || p.checkpoint
}

func (p *pipeline) waiting() []*waiter {
	all := p.queue.waiters
	if p.flight != nil {
		all = append(slices.Clone(p.flight.waiters), all...)
	}
	return all
}

// decide applies a decision and queues its record.
func (b *Bench) decide(at time.Time, by actor.Name, body record.Body) record.Record {
	return b.apply(record.Record{Stamp: b.stamp(at), By: by, Body: body})
}

// apply applies a record and queues it. An event that cannot be written out, such as one
// with an infinite figure, is not applied: in the journal's hands it would shut out the
// records of everybody else.
func (b *Bench) apply(r record.Record) record.Record {
	b.dirty = true
	step := !r.IsEvent()
	if !step {
		if err := r.Encode(); err != nil {
			b.log.Error("an event cannot be written out and is not applied", "kind", r.Body.Kind(), "err", err)
			if b.write.unencodable == nil {
				b.write.unencodable = err
			}
			return r
		}
		r.Seq = b.state.Seq + 1
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
	mono := b.clock.Now().Mono
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
	if p.checkpoint {
		send.Checkpoint = &g.after
		send.Thin = b.thinning()
	}
	b.journal.Groups() <- send // there is room: nothing is under way
	p.flight, p.queue, p.urgent, p.checkpoint = &g, group{}, false, false
	p.sentAt = mono
}

// thinning is how far back air is kept as it was recorded: as long as the configuration
// says, and for as long as a batch that lived in it is open.
func (b *Bench) thinning() *journal.Thinning {
	now := b.now()
	t := journal.Thinning{RawBefore: now.Add(-b.shop.Retention.Raw), MinutesBefore: now.Add(-b.shop.Retention.Minutes)}
	for _, batch := range b.state.Batches {
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
	b.dirty = true
	if err != nil {
		b.failed(g, err)
		return
	}
	p.durable = g.after
	if p.failing != nil {
		b.log.Info("the journal writes again", "records", len(g.records))
		p.failing = nil
		p.checkpoint, p.skipped = p.checkpoint || p.skipped, false
	}
	p.shown = g.after
	b.publish(b.now()) // first, so that whoever was answered finds what changed
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
	p.retryAt = b.clock.Now().Mono + retryEvery
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
		b.publish(b.now())
		for _, w := range all.waiters {
			if withoutDisk(w.request.Change) {
				w.done(false)
			} else {
				w.refuse(cannotWrite(err))
			}
		}
	}()
	for _, w := range all.waiters {
		if withoutDisk(w.request.Change) {
			continue
		}
		for i := w.first; i < w.last; i++ {
			drop[i] = all.records[i].IsEvent() // the air was what it was
		}
	}
	if !slices.Contains(drop, true) { // nothing to undo: the state stands as it is
		p.queue = group{records: all.records}
		p.urgent = true
		p.shown = b.state
		return
	}
	for _, s := range b.scales { // what was undone may have been about whose cup stands there
		s.cups.Forget()
	}
	p.queue, p.urgent = group{}, true
	b.state = p.durable
	for i, r := range all.records {
		if !drop[i] && b.stillTrue(r) {
			b.apply(r)
		}
	}
	p.shown = b.state
}

// stillTrue reports whether a record means anything when the change that began its
// batch was undone.
func (b *Bench) stillTrue(r record.Record) bool {
	id := r.Body.About()
	if _, began := r.Body.(record.MixStarted); began || id == "" {
		return true
	}
	if _, began := r.Body.(record.Recorded); began {
		return true
	}
	_, open := b.state.Batches[id]
	return open
}

// withoutDisk reports whether a change is taken while the journal cannot write: what
// ends a danger must not wait for a card.
func withoutDisk(c request.Change) bool {
	switch c.(type) {
	case request.CloseBatch, request.UnloadBatch, request.AcknowledgeAlarm:
		return true
	}
	return false
}

func cannotWrite(err error) *request.Refusal {
	return request.Refuse(request.Unavailable, "the journal cannot write",
		"%v; nothing was changed. Readings, clocks and lights go on. Make room or change the card, then ask again", err)
}

// unwritten counts the events that are only in memory.
func (p *pipeline) unwritten() int {
	n := 0
	for _, r := range p.queue.records {
		if r.IsEvent() {
			n++
		}
	}
	if p.flight != nil {
		for _, r := range p.flight.records {
			if r.IsEvent() {
				n++
			}
		}
	}
	return n
}
