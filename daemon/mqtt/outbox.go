package mqtt

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"time"

	"potlifed/daemon/view"
)

const (
	cursorName     = "mqtt"
	journalTimeout = 5 * time.Second

	// A backlog goes out in small portions with a pause between them, about a
	// thousand events a second: brokers drop what they cannot hand on to a slow
	// subscriber (1000 messages in a common default), whatever they acknowledged to
	// us.
	portion      = 50
	portionPause = 50 * time.Millisecond

	// echoPatience is how long an event that the broker acknowledged may take to come
	// back before it counts as thrown away.
	echoPatience = 5 * time.Second
	// probePause is how often such an event is tried again.
	probePause = 10 * time.Second
)

// outbox reads the journal's events in order and remembers how far the broker has
// handed them out. An event is sent at least once: the cursor moves when it has come
// back, see [echo], so that a crash between the two repeats it.
//
// One portion is under way at a time, and nothing of the next goes out before all of
// it is back: what a broker throws away so leaves no gap that later events jump over.
// An event that stays away is tried again by itself at a slow pace, and holds up those
// behind it.
type outbox struct {
	journal Journal
	log     *slog.Logger
	loaded  bool
	cursor  uint64 // of the last event that came back
	stored  uint64 // what the journal remembers of it

	echo     echo
	under    []view.Event // acknowledged and not yet back: the rest of a portion
	since    time.Time    // when the first of these began to be waited for
	probeAt  time.Time    // when it is tried again
	stuck    bool         // it counts as thrown away
	patience time.Duration
	probe    time.Duration // see probePause
}

func newOutbox(journal Journal, log *slog.Logger) outbox {
	return outbox{journal: journal, log: log, patience: echoPatience, probe: probePause}
}

// load reads the cursor. newest is the journal's newest event: a cursor beyond it is
// of another journal (an old one was restored), and readers start afresh.
func (o *outbox) load(ctx context.Context, newest uint64) error {
	if o.loaded {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, journalTimeout)
	defer cancel()
	seq, err := o.journal.Cursor(ctx, cursorName)
	if err != nil {
		return fmt.Errorf("mqtt: read the cursor of events: %w", err)
	}
	if seq > newest {
		o.log.Warn("the cursor of events is beyond the journal's end; all events are sent again", "cursor", seq, "newest", newest)
		seq = 0
	}
	o.cursor, o.stored, o.loaded = seq, seq, true
	return nil
}

// again forgets what is under way: a new connection hears nothing of what went over
// the one before.
func (o *outbox) again() {
	o.expect(nil)
	o.stuck, o.probeAt = false, time.Time{}
}

// next returns the events that are to be sent now, a portion at most; none while one
// is under way, but for the first of it when it is to be tried again. Each is to be
// told to sent.
func (o *outbox) next(ctx context.Context, now time.Time) ([]view.Event, error) {
	if len(o.under) > 0 {
		if now.Sub(o.since) >= o.patience && !now.Before(o.probeAt) {
			o.stuck, o.probeAt = true, now.Add(o.probe)
			return o.under[:1], nil
		}
		return nil, nil
	}
	ctx, cancel := context.WithTimeout(ctx, journalTimeout)
	defer cancel()
	events, err := o.journal.Events(ctx, o.cursor, portion)
	if err != nil {
		return nil, fmt.Errorf("mqtt: read events after %d: %w", o.cursor, err)
	}
	o.expect(events) // before they are sent: an echo may be faster than the acknowledgement
	return events, nil
}

func (o *outbox) expect(events []view.Event) {
	o.under = nil
	o.echo.expect(events)
}

// sent tells what became of the events that next returned, and returns how many of
// them, from the first on, the broker has acknowledged. The others count as not sent.
func (o *outbox) sent(events []view.Event, errs []error, now time.Time) int {
	n := 0
	for n < len(events) && errs[n] == nil {
		n++
	}
	if o.stuck {
		return n // one that was tried again
	}
	if n < len(events) {
		o.echo.keep(n)
	}
	o.under, o.since = events[:n], now
	return n
}

// settle moves the cursor over what has come back, and reports whether something has.
func (o *outbox) settle(now time.Time) bool {
	back, rest := o.echo.settle()
	if len(back) == 0 {
		return false
	}
	o.cursor = back[len(back)-1].Seq
	o.under, o.since = rest, now
	if o.stuck {
		o.again() // the rest of the portion may have been thrown away as well
	}
	return true
}

// store writes the cursor down. A failure costs a repetition after a crash and is
// made good with the next event.
func (o *outbox) store(ctx context.Context) error {
	if o.cursor == o.stored {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, journalTimeout)
	defer cancel()
	if err := o.journal.SetCursor(ctx, cursorName, o.cursor); err != nil {
		return fmt.Errorf("mqtt: store the cursor of events: %w", err)
	}
	o.stored = o.cursor
	return nil
}

// touch adds what an event is about: its batch, its alarm, the alarm's subject.
func touch(touched map[string]bool, e view.Event) {
	var about struct {
		Batch   string `json:"batch"`
		Alarm   string `json:"alarm"`
		Subject string `json:"subject"`
	}
	if json.Unmarshal(e.JSON, &about) != nil {
		return // a field of another type: it is not about a batch
	}
	if about.Batch != "" {
		touched[about.Batch] = true
	}
	if about.Subject != "" {
		touched[about.Subject] = true
		touched[about.Alarm+"/"+about.Subject] = true
	}
}
