package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/record"
)

// TestOutboxLosesNothing runs an outbox against a broker that fails at random and
// against crashes at random: whatever the cursor has passed was taken before, and in
// the end everything was taken in order.
func TestOutboxLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ctx := context.Background()
		journal := &fakeJournal{}
		o := &outbox{journal: journal, log: quietLog()}
		var reached uint64 // everything up to here was taken by the broker
		round := func(fails bool) {
			if err := o.load(ctx, uint64(len(journal.events))); err != nil {
				t.Fatal(err)
			}
			events, err := o.next(ctx)
			if err != nil {
				t.Fatal(err)
			}
			errs := make([]error, len(events))
			taken := make(map[uint64]bool)
			for i, e := range events {
				if fails && rapid.IntRange(0, 3).Draw(t, "fails") == 0 {
					errs[i] = errors.New("no")
				}
				taken[e.Seq] = errs[i] == nil
			}
			o.taken(events, errs)
			for taken[reached+1] {
				reached++
			}
			if o.cursor > reached {
				t.Fatalf("the cursor is at %d and the broker has only up to %d", o.cursor, reached)
			}
			if !fails || rapid.Bool().Draw(t, "stored") {
				if err := o.store(ctx); err != nil {
					t.Fatal(err)
				}
			}
		}
		for range rapid.IntRange(0, 30).Draw(t, "steps") {
			switch rapid.SampledFrom([]string{"event", "round", "crash"}).Draw(t, "step") {
			case "event":
				for range rapid.IntRange(1, 2*portion).Draw(t, "events") {
					journal.add("b")
				}
			case "round":
				round(true)
			case "crash":
				o = &outbox{journal: journal, log: quietLog()}
			}
		}
		for range len(journal.events)/portion + 1 {
			round(false)
		}
		if want := uint64(len(journal.events)); reached != want || o.cursor != want || journal.cursor[cursorName] != want {
			t.Fatalf("taken up to %d, cursor %d, stored %d, want %d", reached, o.cursor, journal.cursor[cursorName], want)
		}
	})
}

// A journal restored from an older copy must not swallow its next events.
func TestCursorBeyondTheJournalStartsAfresh(t *testing.T) {
	journal := &fakeJournal{cursor: map[string]uint64{cursorName: 900}}
	journal.add("b")
	o := &outbox{journal: journal, log: quietLog()}
	if err := o.load(t.Context(), 1); err != nil || o.cursor != 0 {
		t.Errorf("cursor %d, %v; want 0", o.cursor, err)
	}
}

// The cable is cut again and again while events flow: some are on the wire, some not
// acknowledged. Each must arrive, the first copies in order.
func TestCutsLoseNoEvent(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newRoom()
		w := newWitness(t, b.addr())
		cable := newRelay(t, b.addr())
		s := b.settings()
		s.URL, s.Lights = "mqtt://"+cable.addr(), nil
		p, _ := runPublisher(t, r, s, func(p *Publisher) { p.pause = 0 })
		const events, cuts = 3000, 3
		for i := range events {
			r.event("0612-1", func(*record.Snapshot) {})
			if i%(events/cuts) == events/cuts/2 {
				until(t, "events to flow", func() bool { return len(w.on(root+"event")) > 0 && p.Connected() })
				cable.cut()
				cable.mend()
			}
		}
		w.hears(t, "the last event", jsonHas(root+"event", "seq", float64(events)))
		next := 1
		for _, m := range w.on(root + "event") {
			var e struct{ Seq int }
			if err := json.Unmarshal([]byte(m.payload), &e); err != nil {
				t.Fatal(err)
			}
			switch {
			case e.Seq == next:
				next++
			case e.Seq > next:
				t.Fatalf("event %d after %d: one is missing or out of order", e.Seq, next-1)
			}
		}
		if next != events+1 {
			t.Errorf("heard up to %d of %d", next-1, events)
		}
		until(t, "the cursor", func() bool { seq, err := r.journal.Cursor(t.Context(), cursorName); return err == nil && seq == events })
	})
}

// The publisher must not wait for ever for an acknowledgement that does not come.
func TestBrokerThatNeverAcknowledges(t *testing.T) {
	b := newBuiltIn(t)
	r := newRoom()
	p, stop := runPublisher(t, r, b.settings(), func(p *Publisher) { p.patience = 50 * time.Millisecond })
	until(t, "the connection", p.Connected)
	broker := b.(*builtIn).broker
	broker.guard.turns.index.RLock() // whoever retains a message waits
	r.bench.change(func(s *record.Snapshot) { s.Air = []record.AirView{airView(s.At, 33, 50)} })
	until(t, "the failure to be counted", func() bool { return p.Status().Messages[Count{"out", "error"}] > 0 })
	if n := p.Status().Waiting; n == 0 {
		t.Error("nothing waits although nothing was acknowledged")
	}
	broker.guard.turns.index.RUnlock()
	until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
	stop()
}
