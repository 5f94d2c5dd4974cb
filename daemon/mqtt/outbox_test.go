package mqtt

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/view"
)

// flaky is a broker as an outbox sees it, and the reader behind it.
type flaky struct {
	refuses bool            // drops what it acknowledges
	parted  bool            // delivers to its own clients alone, and acknowledges nothing
	ragged  bool            // decides for each message whether to drop it
	read    map[uint64]bool // by the reader
	reached uint64          // everything up to here was read
	jumped  bool            // the reader saw an event before one that comes before it
}

// take takes a portion: some of it is not acknowledged, some of what is acknowledged
// is dropped, and some of what is delivered is delivered to others only.
func (f *flaky) take(t *rapid.T, o *outbox, events []view.Event, fails bool) []error {
	errs := make([]error, len(events))
	for i, e := range events {
		if f.parted {
			o.echo.received(e.JSON)
			errs[i] = errNoAnswer
			continue
		}
		if fails && rapid.IntRange(0, 9).Draw(t, "lost") == 0 { // the connection, with all that follows
			for ; i < len(events); i++ {
				errs[i] = errors.New("no")
			}
			break
		}
		if f.refuses || f.ragged && fails && rapid.Bool().Draw(t, "dropped") {
			continue
		}
		if e.Seq > f.reached+1 && !f.read[e.Seq] {
			f.jumped = true
		}
		f.read[e.Seq] = true
		for f.read[f.reached+1] {
			f.reached++
		}
		if !fails || rapid.IntRange(0, 9).Draw(t, "echo") > 0 {
			o.echo.received(e.JSON)
		}
	}
	return errs
}

// TestOutboxLosesNothing runs an outbox against a broker that fails, drops messages, is parted from its readers and comes
// back at random, and against crashes at random: every event before the cursor was read, no
// reader sees a gap, and in the end everything was read.
func TestOutboxLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ctx, now := context.Background(), time.Now()
		journal := &fakeJournal{}
		fresh := func() *outbox { o := newOutbox(journal, hallCursor, quietLog()); return &o }
		o := fresh()
		broker := &flaky{ragged: rapid.Bool().Draw(t, "ragged"), read: map[uint64]bool{}}
		round := func(fails bool) {
			now = now.Add(time.Second)
			if err := o.load(ctx, uint64(len(journal.events))); err != nil {
				t.Fatal(err)
			}
			o.settle(now)
			if events, err := o.next(ctx, now); err != nil {
				t.Fatal(err)
			} else if len(events) > 0 {
				o.sent(events, broker.take(t, o, events, fails), now)
			}
			o.settle(now)
			if o.cursor > broker.reached {
				t.Fatalf("the cursor is at %d and the reader has only up to %d", o.cursor, broker.reached)
			}
			if len(o.inFlight) > portion || len(o.echo.events) > portion {
				t.Fatalf("%d events are remembered", len(o.inFlight))
			}
			if !fails || rapid.Bool().Draw(t, "stored") {
				if err := o.store(ctx); err != nil {
					t.Fatal(err)
				}
			}
		}
		for range rapid.IntRange(0, 40).Draw(t, "steps") {
			switch rapid.SampledFrom([]string{"event", "round", "round", "crash", "connection", "rights", "partition", "wait"}).Draw(t, "step") {
			case "event":
				for range rapid.IntRange(1, 2*portion).Draw(t, "events") {
					journal.add("b")
				}
			case "round":
				round(true)
			case "crash":
				o = fresh()
			case "connection":
				o.reset()
			case "rights":
				broker.refuses = !broker.refuses
			case "partition":
				broker.parted = !broker.parted
			case "wait":
				now = now.Add(rapid.SampledFrom([]time.Duration{echoPatience, droppedRetry}).Draw(t, "wait"))
			}
		}
		broker.refuses, broker.parted = false, false
		for range len(journal.events)/portion + 30 {
			round(false)
		}
		if want := uint64(len(journal.events)); broker.reached != want || o.cursor != want || journal.cursor[hallCursor] != want {
			t.Fatalf("read up to %d, cursor %d, stored %d, want %d", broker.reached, o.cursor, journal.cursor[hallCursor], want)
		}
		if !broker.ragged && broker.jumped {
			t.Fatal("the reader saw a gap")
		}
	})
}

// With a broker that drops everything, one message is sent again slowly.
func TestDroppedEventsAreSentAgainSlowly(t *testing.T) {
	journal := &fakeJournal{}
	for range 1000 {
		journal.add("b")
	}
	o := newOutbox(journal, hallCursor, quietLog())
	now, sent := time.Now(), 0
	if err := o.load(t.Context(), 1000); err != nil {
		t.Fatal(err)
	}
	for range 600 { // ten minutes
		events, err := o.next(t.Context(), now)
		if err != nil {
			t.Fatal(err)
		}
		if len(events) > 0 {
			o.sent(events, make([]error, len(events)), now)
			sent += len(events)
		}
		o.settle(now)
		now = now.Add(time.Second)
	}
	if !o.dropped || o.cursor != 0 || sent < portion+50 || sent > portion+60 {
		t.Errorf("dropped %v, cursor %d, %d messages in ten minutes; want a portion and one every %v", o.dropped, o.cursor, sent, droppedRetry)
	}
}

// With a journal restored from an older copy, the next events are published too.
func TestCursorBeyondTheJournalStartsAfresh(t *testing.T) {
	journal := &fakeJournal{cursor: map[string]uint64{hallCursor: 900}}
	journal.add("b")
	o := newOutbox(journal, hallCursor, quietLog())
	if err := o.load(t.Context(), 1); err != nil || o.cursor != 0 {
		t.Errorf("cursor %d, %v; want 0", o.cursor, err)
	}
}

// The relay is cut again and again while events flow: some are on the wire, some not
// acknowledged. Each must arrive, the first copies in order.
func TestCutsLoseNoEvent(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newFixture()
		w := mqtttest.Subscribe(t, b.Addr())
		relay := mqtttest.NewRelay(t, b.Addr())
		s := b.settings()
		s.URLs, s.Lights = []string{"mqtt://" + relay.Addr()}, nil
		p, _ := runPublisher(t, r, s, func(p *Publisher) { p.pause = 0 })
		const events, cuts = 3000, 3
		for i := range events {
			r.event("0612-1", func(*view.Snapshot) {})
			if i%(events/cuts) == events/cuts/2 {
				mqtttest.Until(t, "events to flow", func() bool { return len(w.On(root+"event")) > 0 && p.Connected() })
				relay.Cut()
				relay.Mend()
			}
		}
		w.Expect(t, "the last event", mqtttest.JSONHas(root+"event", "seq", float64(events)))
		inOrder(t, w, events)
		mqtttest.Until(t, "the cursor", func() bool { seq, err := r.journal.Cursor(t.Context(), hallCursor); return err == nil && seq == events })
	})
}

// The publisher does not wait for ever for an acknowledgement.
func TestBrokerThatNeverAcknowledges(t *testing.T) {
	everyBroker(t, func(t *testing.T, b testBroker) {
		r := newFixture()
		relay := mqtttest.NewRelay(t, b.Addr())
		s := b.settings()
		s.URLs, s.Lights = []string{"mqtt://" + relay.Addr()}, nil
		p, stop := runPublisher(t, r, s, func(p *Publisher) { p.patience = 50 * time.Millisecond })
		mqtttest.Until(t, "everything to be published", func() bool { return p.Connected() && p.Status().Waiting == 0 })
		relay.Hold()
		r.bench.change(func(s *view.Snapshot) { s.Air = []view.Air{airView(s.At, 33, 50)} })
		mqtttest.Until(t, "the failure to be counted", func() bool { return p.Status().Messages[Count{"out", "error"}] > 0 })
		mqtttest.Until(t, "something to wait, since nothing is acknowledged", func() bool { return p.Status().Waiting > 0 })
		relay.Release()
		mqtttest.Until(t, "nothing to wait", func() bool { return p.Status().Waiting == 0 })
		stop()
	})
}

// askedJournal counts how often events were asked for.
type askedJournal struct {
	*fakeJournal
	asked atomic.Int32
}

func (j *askedJournal) Events(ctx context.Context, after uint64, limit int) ([]view.Event, error) {
	j.asked.Add(1)
	return j.fakeJournal.Events(ctx, after, limit)
}

// While the journal cannot write, the state is ahead of it. The publisher waits for the
// events and does not ask in a loop.
func TestStateAheadOfTheJournal(t *testing.T) {
	b := newBuiltIn(t)
	r := newFixture()
	journal := &askedJournal{fakeJournal: r.journal}
	w := mqtttest.Subscribe(t, b.Addr())
	runPublisher(t, r, b.settings(), func(p *Publisher) { p.journal, p.outbox.journal = journal, journal })
	r.bench.change(func(s *view.Snapshot) { s.Seq = 3 })
	began := time.Now()
	mqtttest.Until(t, "events to be asked for", func() bool { return journal.asked.Load() >= 5 })
	if took := time.Since(began); took < 2*portionPause {
		t.Errorf("asked for events %d times within %v", journal.asked.Load(), took)
	}
	for range 3 {
		r.journal.add("0612-1")
	}
	w.Expect(t, "the last event", mqtttest.JSONHas(root+"event", "seq", 3.0))
}
