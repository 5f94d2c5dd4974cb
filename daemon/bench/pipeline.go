package bench

import (
	"encoding/json"
	"slices"
	"time"

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
	// asked: what is only in memory has a change in it that a person made, by a request or at a
	// scale. before is the state without it.
	asked  bool
	before record.State
	flight *group
	queue  group
	steps  []record.Record // steps of the clock that are not in shown yet, see [pipeline.stepped]

	// unencodable is why a record of the change under way cannot be written out, nil when
	// all can. Such a record is not applied, and the change is refused.
	unencodable error

	failing    error // why the journal cannot write, nil when it can
	checkpoint bool  // take one with the next group
	since      int   // records on disk since the last one
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

	checkpoint bool // it goes with one
}

// waiter is a change that somebody waits for.
type waiter struct {
	request request.Request
	body    json.RawMessage
	stored  uint64 // the event with the answer to an earlier request, 0 for none
	first   int    // its records in the group: from first to last
	last    int
	answer  chan answer // capacity 1: answering never blocks
	refused func(error) // where nobody waits: told of a refusal; may be nil
}

type answer struct {
	reply  request.Reply
	stored uint64 // the event that has the reply's body, 0 for none
	err    error
}

func (w *waiter) refuse(err error) {
	w.answer <- answer{err: err}
	if w.refused != nil {
		w.refused(err)
	}
}

func (w *waiter) done(onDisk bool) {
	w.answer <- answer{reply: request.Reply{Body: w.body, OnDisk: onDisk}, stored: w.stored}
}

const (
	// mostQueued bounds what waits in memory while the journal cannot write.
	mostQueued = 20000
	retryEvery = 5 * time.Second
)

// decided returns the newest state that has only decisions of the bench itself beyond what may be
// published. A change that a person made counts when it is on disk: a crash would lose it, and the
// bench would not decide it again.
func (p *pipeline) decided(newest record.State) record.State {
	switch {
	case !p.asked:
		return newest
	case p.lastStep() > p.before.Seq: // its instants are not of the present bench time
		return p.stepped()
	}
	return p.before
}

// asking notes that a person has made a change. before is the state without it.
func (p *pipeline) asking(before record.State) {
	if !p.asked {
		p.asked, p.before = true, before
	}
}

// show sets what may be published: the newest state, where nothing in it waits for the disk or the
// disk takes no writes.
func (p *pipeline) show(newest record.State) { p.shown, p.before, p.asked = newest, newest, false }

// written notes that all but the queue is on disk, and the state of that.
func (p *pipeline) written(s record.State) { p.shown, p.before, p.asked = s, s, p.asked && p.urgent }

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
		"%v; nothing was changed. Readings, clocks and lights go on. Make room or change the card, then ask again", err).Saying("not-saved")
}

// unwritten counts the events and reports that are only in memory.
func (p *pipeline) unwritten() int {
	n := 0
	for _, r := range p.queue.records {
		if !isStep(r) {
			n++
		}
	}
	if p.flight != nil {
		for _, r := range p.flight.records {
			if !isStep(r) {
				n++
			}
		}
	}
	return n
}

// isStep reports whether a record is a step of the air, which is true whatever people asked for.
func isStep(r record.Record) bool { return r.Body.Kind() == record.KindAirStep }
