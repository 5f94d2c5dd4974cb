package bench

import (
	"encoding/json"
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
)

// enter decides a change. It is answered when its records are on disk.
func (w *waiter) enter(b *Bench, now time.Time) {
	p := &b.write
	key := w.request.Key
	if known, ok := b.answered(now, w.request); ok && key != "" {
		if known.hash != w.request.Hash {
			w.refuse(b.shop.asRefusal(request.Refuse(request.Invalid, "key used before", "the key %q was used for another request; use a new one", key)))
			return
		}
		if w.body = known.body; w.body == nil {
			w.stored = known.seq
		}
		w.join(p)
		return
	}
	if p.failing != nil && !withoutDisk(w.request.Change) {
		w.refuse(b.shop.asRefusal(cannotWrite(p.failing)))
		return
	}
	w.first = len(p.queue.records)
	before := b.state
	p.unencodable = nil
	thing, err := b.change(now, w.request)
	if err == nil {
		w.body, err = b.encode(thing)
	}
	if p.unencodable != nil {
		err = request.Refuse(request.Invalid, "not like this", "a figure of this change cannot be written down (%v); nothing was changed", p.unencodable)
		b.takeBack(before, w.first)
	}
	if err != nil {
		w.refuse(b.shop.asRefusal(err))
		return
	}
	if w.last = len(p.queue.records); w.last > w.first {
		p.asking(before)
	}
	if key != "" {
		w.remember(b, now)
	}
	w.join(p)
}

// answered returns the answer to an earlier request with the same key. A report of prints or
// rejects is answered with the press as it is now.
func (b *Bench) answered(now time.Time, r request.Request) (keyed, bool) {
	if of, ok := b.keys.find(r.Key, now); ok {
		return of, true
	}
	hash, ok := b.state.ReportHash(r.Key)
	if !ok {
		return keyed{}, false
	}
	of := keyed{hash: hash}
	if press, report := reports(r.Change); report {
		of.body, _ = json.Marshal(b.pressView(now, press)) // a row of the snapshot can be written out
	}
	return of, true
}

// encode writes out what a change is answered with. What cannot be written out counts
// like a record that cannot.
func (b *Bench) encode(thing any) (json.RawMessage, error) {
	body, err := json.Marshal(thing)
	if err != nil && b.write.unencodable == nil {
		b.write.unencodable = err
	}
	return body, err
}

// takeBack undoes what a change decided, back to the state before and the number of
// records that were queued then. The air steps that it closed stay: the air was what it
// was.
func (b *Bench) takeBack(before record.State, queued int) {
	p := &b.write
	undone := slices.Clone(p.queue.records[queued:])
	p.queue.records = p.queue.records[:queued]
	b.state = before
	for _, r := range undone {
		if isStep(r) {
			b.apply(r)
		}
	}
	for _, s := range b.scales { // what was undone may have been about whose cup stands there
		s.cups.Forget()
	}
	b.dirty = true
}

// remember attaches the answer to the change's last event, so that both are on disk
// or neither.
func (w *waiter) remember(b *Bench, now time.Time) {
	a := record.Answer{Key: w.request.Key, Hash: w.request.Hash, At: now, Body: w.body}
	if _, report := reports(w.request.Change); report {
		a.Body = nil
		// A report that said nothing new has no record; its key is then forgotten by a crash.
		b.state = b.state.WithReportKey(a)
		if last := w.last - 1; last >= w.first && b.write.queue.records[last].Body.Kind() == record.KindCounted {
			b.write.queue.records[last].Answer = &a
		}
		return
	}
	for i := w.last - 1; i >= w.first; i-- {
		if r := &b.write.queue.records[i]; r.IsEvent() {
			r.Answer = &a
			b.keys.add(a.Key, keyed{hash: a.Hash, at: a.At, seq: r.Seq, body: a.Body})
			return
		}
	}
}

// join waits for everything that is decided so far, which the answer may tell of.
func (w *waiter) join(p *pipeline) {
	switch {
	case p.failing != nil:
		w.done(false)
	case p.urgent:
		w.last = max(w.last, w.first)
		p.queue.waiters = append(p.queue.waiters, w)
	case p.flight != nil:
		w.first, w.last = 0, 0
		p.flight.waiters = append(p.flight.waiters, w)
	default:
		w.done(true)
	}
}

// change decides one change and returns the thing changed, as it is answered.
func (b *Bench) change(now time.Time, r request.Request) (any, error) {
	if err := request.Check(r.Change); err != nil {
		return nil, err
	}
	switch c := r.Change.(type) {
	case request.StartMix:
		return b.startMix(now, r.By, c)
	case request.RecordMix:
		return b.recordMix(now, r.By, c)
	case request.ConfirmStep:
		return b.confirm(now, r.By, c)
	case request.Undo:
		return b.undo(now, r.By, c)
	case request.TakeUp:
		return b.takeUp(now, r.By, c)
	case request.PourMixOver:
		return b.pourOver(now, r.By, c)
	case request.CorrectPour:
		return b.correct(now, r.By, c)
	case request.LoadBatch:
		return b.load(now, r.By, c)
	case request.UnloadBatch:
		return b.unload(now, r.By, c)
	case request.MoveBatch:
		return b.move(now, r.By, c)
	case request.SplitBatch:
		return b.split(now, r.By, c)
	case request.TopUpBatch:
		return b.topUp(now, r.By, c)
	case request.ThinBatch:
		return b.thin(now, r.By, c)
	case request.ReweighBatch:
		return b.reweigh(now, r.By, c)
	case request.MakeCan:
		return b.makeCan(now, r.By, c)
	case request.OpenCan:
		return b.openCan(now, r.By, c)
	case request.StirCan:
		return b.stirCan(now, r.By, c)
	case request.EmptyCan:
		return b.emptyCan(now, r.By, c)
	case request.FlowTimeBatch:
		return b.flowTime(now, r.By, c)
	case request.TestBatch:
		return b.test(now, r.By, c)
	case request.AcceptLearned:
		return b.acceptLearned(now, r.By, c)
	case request.RevokeLearned:
		return b.revokeLearned(now, r.By, c)
	case request.StartJars:
		return b.startJars(now, r.By, c)
	case request.LookAtJar:
		return b.lookAtJar(now, r.By, c)
	case request.EndJars:
		return b.endJars(now, r.By, c)
	case request.GoodBatch:
		return b.good(now, r.By, c)
	case request.AbandonMix:
		return b.abandon(now, r.By, c)
	case request.CloseBatch:
		return b.close(now, r.By, c)
	case request.AcknowledgeAlarm:
		return b.acknowledge(now, r.By, c)
	case request.ShelveAlarm:
		return b.shelve(now, r.By, c)
	case request.UnshelveAlarm:
		return b.unshelve(now, r.By, c)
	case request.CountPrints:
		return b.countPrints(now, r.By, c)
	case request.CountDefects:
		return b.countDefects(now, r.By, c)
	case request.VerifySensor:
		return b.verify(now, r.By, c)
	case request.VerifyScale:
		return b.verifyScale(now, r.By, c)
	case request.AcceptCorrection:
		return b.acceptCorrection(now, r.By, c)
	case request.RevokeCorrection:
		return b.revokeCorrection(now, r.By, c)
	case request.ReplaceDevice:
		return b.replaceDevice(now, r.By, c)
	case request.TakeOutOfService:
		return b.takeOutOfService(now, r.By, c)
	case request.PutInService:
		return b.putInService(now, r.By, c)
	case reconfigure:
		return b.reconfigure(now, r.By, c)
	case request.PairDevice:
		return b.pairDevice(now, r.By, c)
	case request.UnpairDevice:
		return b.unpairDevice(now, r.By, c)
	}
	return nil, request.Refuse(request.Invalid, titleUnknownChange, "%q is not a change this bench knows", r.Change.Verb())
}

const titleUnknownChange = "unknown change"
