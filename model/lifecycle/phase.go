// Package lifecycle holds the phases of a batch.
package lifecycle

// Phase is where a batch stands, as the wire's `state`.
type Phase string

// The phases of a batch.
const (
	Mixing  Phase = "mixing"
	Resting Phase = "resting"
	Open    Phase = "open"
	Closed  Phase = "closed"
)
