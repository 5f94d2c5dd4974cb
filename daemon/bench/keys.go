package bench

import (
	"context"
	"encoding/json"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
)

// keys remembers the idempotency keys of changes, for a day. The answers themselves lie in the
// journal, with the events that they belong to; here is only what tells a repetition from a new
// request. It is not part of the state: a state is copied when it changes, and a checkpoint has
// all of it.
type keys struct {
	known map[string]keyed
	order []string // as they came; one may be there twice
}

// keyed is a change that came with a key.
type keyed struct {
	hash string // of the request
	at   time.Time
	seq  uint64          // the event that has the answer
	body json.RawMessage // the answer until it is on disk, then nil
}

const (
	keyFor   = 24 * time.Hour
	mostKeys = 10_000 // the oldest go first
)

func newKeys() keys { return keys{known: map[string]keyed{}} }

// add remembers a key and forgets what is too old or too much.
func (k *keys) add(key string, of keyed) {
	if _, again := k.known[key]; !again {
		k.order = append(k.order, key)
	}
	k.known[key] = of
	for len(k.order) > 0 {
		oldest, there := k.known[k.order[0]]
		if there && len(k.known) <= mostKeys && of.at.Sub(oldest.at) <= keyFor {
			break
		}
		delete(k.known, k.order[0])
		k.order = k.order[1:]
	}
	if cap(k.order) > 4*mostKeys { // what was cut off at the front would stay in memory
		k.order = append([]string(nil), k.order...)
	}
}

// find returns what came with a key in the last day.
func (k *keys) find(key string, now time.Time) (keyed, bool) {
	of, ok := k.known[key]
	return of, ok && now.Sub(of.at) <= keyFor
}

// onDisk lets go of the answers that the journal has now.
func (k *keys) onDisk(records []record.Record) {
	for _, r := range records {
		if r.Answer == nil {
			continue
		}
		if of, ok := k.known[r.Answer.Key]; ok && of.seq == r.Seq {
			of.body = nil
			k.known[r.Answer.Key] = of
		}
	}
}

// forget forgets the keys of records that were not written.
func (k *keys) forget(r record.Record) {
	if r.Answer == nil {
		return
	}
	if of, ok := k.known[r.Answer.Key]; ok && of.seq == r.Seq {
		delete(k.known, r.Answer.Key) // its place in the order is skipped
	}
}

// rememberKeys takes up the keys of earlier runs.
func (b *Bench) rememberKeys(ctx context.Context, now time.Time) error {
	return b.journal.Answers(ctx, now.Add(-keyFor), mostKeys, func(seq uint64, a record.Answer) {
		b.keys.add(a.Key, keyed{hash: a.Hash, at: a.At, seq: seq})
	})
}

// whole returns the reply in an answer. An answer to an earlier request is read from the journal,
// by the caller and not by the loop.
func (b *Bench) whole(ctx context.Context, a answer) (request.Reply, error) {
	if a.err != nil || a.stored == 0 {
		return a.reply, a.err
	}
	r, err := b.journal.Event(ctx, a.stored)
	if err != nil || r.Answer == nil {
		return request.Reply{}, request.Refuse(request.Unavailable, "answer not read",
			"this was carried out already, as event %d; its answer cannot be read (%v)", a.stored, err)
	}
	a.reply.Body = r.Answer.Body
	return a.reply, nil
}
