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
	hallCursor     = "mqtt" // in journals that know no other
	plantCursor    = "plant"
	journalTimeout = 5 * time.Second

	// A backlog is sent in small portions with a pause between them, about a thousand
	// events a second: brokers drop what they cannot deliver to a slow subscriber (1000
	// messages in a common default), although they have acknowledged it to us.
	portion      = 50
	portionPause = 50 * time.Millisecond

	// echoPatience is how long an event that the broker acknowledged may take to come
	// back before it counts as dropped.
	echoPatience = 5 * time.Second
	// droppedRetry is the interval at which such an event is sent again.
	droppedRetry = 10 * time.Second
)

// outbox reads the journal's events in order and stores how far the broker has delivered
// them. An event is sent at least once: the cursor advances when the event has come back,
// see [echo], so that a crash between the two repeats it.
//
// One portion is in flight at a time, and nothing of the next is sent before all of it has
// come back. So an event that the broker drops leaves no gap behind which later events
// arrive. Such an event is sent again by itself, slowly, and later events wait for it.
//
// An event that has come back and was not acknowledged is not delivered: a node that is parted from its cluster
// delivers to its own clients alone, and cannot acknowledge, since that needs most of the nodes (NATS with three replicas).
type outbox struct {
	journal Journal
	name    string // of the cursor
	log     *slog.Logger
	loaded  bool
	cursor  uint64 // the last event that came back
	stored  uint64 // the cursor in the journal

	echo     echo
	inFlight []view.Event // acknowledged and not yet back: the rest of a portion
	since    time.Time    // when the wait for the first of these began
	retryAt  time.Time    // when it is sent again
	dropped  bool         // it counts as dropped
	patience time.Duration
	retry    time.Duration // see droppedRetry
}

func newOutbox(journal Journal, cursor string, log *slog.Logger) outbox {
	return outbox{journal: journal, name: cursor, log: log, patience: echoPatience, retry: droppedRetry}
}

// load reads the cursor, once. newest is the journal's newest event: a cursor beyond it
// belongs to another journal (an old copy was restored), and all events are sent again. The
// error is the journal's.
func (o *outbox) load(ctx context.Context, newest uint64) error {
	if o.loaded {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, journalTimeout)
	defer cancel()
	seq, err := o.journal.Cursor(ctx, o.name)
	if err != nil {
		return fmt.Errorf("mqtt: read the cursor of events: %w", err)
	}
	if seq > newest {
		o.log.Warn("the cursor of events is beyond the end of the journal; all events are sent again", "cursor", seq, "newest", newest)
		seq = 0
	}
	o.cursor, o.stored, o.loaded = seq, seq, true
	return nil
}

// reset forgets what is in flight: a new connection gets nothing of what was sent over the
// previous one.
func (o *outbox) reset() {
	o.expect(nil)
	o.dropped, o.retryAt = false, time.Time{}
}

// next returns the events to be sent now, a portion at most. While a portion is in flight
// it returns none, except the first event of it when that is due to be sent again. The
// caller must pass each to sent. The error is the journal's.
func (o *outbox) next(ctx context.Context, now time.Time) ([]view.Event, error) {
	if len(o.inFlight) > 0 {
		if now.Sub(o.since) >= o.patience && !now.Before(o.retryAt) {
			o.dropped, o.retryAt = true, now.Add(o.retry)
			return o.inFlight[:1], nil
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
	o.inFlight = nil
	o.echo.expect(events)
}

// sent takes the errors with which the events from next were sent, and returns how many, from
// the first on, the broker has acknowledged. The others count as not sent.
func (o *outbox) sent(events []view.Event, errs []error, now time.Time) int {
	n := 0
	for n < len(events) && errs[n] == nil {
		n++
	}
	if o.dropped { // one that was sent again
		if n < len(events) {
			o.echo.expect(o.inFlight) // what has come back without an acknowledgement proves nothing
		}
		return n
	}
	if n < len(events) {
		o.echo.truncate(n)
	}
	o.inFlight, o.since = events[:n], now
	return n
}

// settle advances the cursor over the events that have come back, and reports whether there
// were any.
func (o *outbox) settle(now time.Time) bool {
	arrived, rest := o.echo.settle()
	if len(arrived) == 0 {
		return false
	}
	o.cursor = arrived[len(arrived)-1].Seq
	o.inFlight, o.since = rest, now
	if o.dropped {
		o.reset() // the broker may have dropped the rest of the portion as well
	}
	return true
}

// store writes the cursor to the journal. A failure costs a repetition after a crash; the
// next event tries it again.
func (o *outbox) store(ctx context.Context) error {
	if o.cursor == o.stored {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, journalTimeout)
	defer cancel()
	if err := o.journal.SetCursor(ctx, o.name, o.cursor); err != nil {
		return fmt.Errorf("mqtt: store the cursor of events: %w", err)
	}
	o.stored = o.cursor
	return nil
}

// touch adds the ids that an event is about: its batch, its alarm, the alarm's subject.
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
