package light

import "time"

// Report is how a lamp that reports back stands to what it was told to show.
type Report struct {
	// Told: the lamp's connection stands and the broker has what it is to show. Otherwise
	// nothing can be said of the lamp.
	Told bool
	// Owing: it owes an answer since OwesSince, by the clock's monotonic time.
	Owing     bool
	OwesSince time.Duration
	// Confirmed: it has confirmed something in this run, and last at ConfirmedAt, by the
	// same clock.
	Confirmed   bool
	ConfirmedAt time.Duration
	// Says is what it reports in place of what it was told, empty where it does not.
	Says string
	// Deaf is why its answers cannot be heard, empty when they can.
	Deaf string
}

// Confirmation is whether a lamp that reports back confirms its messages, as the wire's
// `confirmation`.
type Confirmation string

// The confirmations; the empty one is that of a lamp that does not report back.
const (
	ReportConfirmed Confirmation = "confirmed"
	ReportWaiting   Confirmation = "waiting" // its time to answer is not over, or it cannot be asked
	ReportSilent    Confirmation = "silent"  // it does not confirm, or confirms something else
)
