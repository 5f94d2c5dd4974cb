package light

import "time"

// Report is what is known of a lamp that reports back what it shows.
type Report struct {
	// Acknowledged: the lamp's connection is up and the broker has the message that the lamp is
	// to show. Without it nothing is known of the lamp.
	Acknowledged bool
	// Unanswered: the lamp has not answered since UnansweredSince, by the monotonic clock.
	Unanswered      bool
	UnansweredSince time.Duration
	// Confirmed: the lamp has confirmed something in this run, last at ConfirmedAt, by the
	// monotonic clock.
	Confirmed   bool
	ConfirmedAt time.Duration
	// Says is what the lamp reports instead of what it was told; empty when it does not.
	Says string
	// Unreadable is why its answers cannot be received, empty when they can.
	Unreadable string
}

// Confirmation is whether a lamp that reports back confirms its messages, by its name on the
// wire.
type Confirmation string

// The confirmations. The empty one is that of a lamp that does not report back.
const (
	ReportConfirmed Confirmation = "confirmed"
	ReportWaiting   Confirmation = "waiting" // its time to answer is not over, or it cannot be asked
	ReportSilent    Confirmation = "silent"  // it does not confirm, or it confirms something else
)
