package mqtt

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"time"

	"potlifed/daemon/record"
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
)

// outbox reads the journal's events in order and remembers how far the broker has
// taken them. An event is sent at least once: the cursor moves when its
// acknowledgement is there, so that a crash between the two repeats it.
type outbox struct {
	journal Journal
	log     *slog.Logger
	loaded  bool
	cursor  uint64 // of the last event that the broker took
	stored  uint64 // what the journal remembers of it
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

// next returns the events after the cursor, a portion at most.
func (o *outbox) next(ctx context.Context) ([]record.Event, error) {
	ctx, cancel := context.WithTimeout(ctx, journalTimeout)
	defer cancel()
	events, err := o.journal.Events(ctx, o.cursor, portion)
	if err != nil {
		return nil, fmt.Errorf("mqtt: read events after %d: %w", o.cursor, err)
	}
	return events, nil
}

// taken moves the cursor over the events that the broker took, up to the first that
// it did not, and returns how many these are.
func (o *outbox) taken(events []record.Event, errs []error) int {
	n := 0
	for n < len(events) && errs[n] == nil {
		o.cursor = events[n].Seq
		n++
	}
	return n
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
func touch(touched map[string]bool, e record.Event) {
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
