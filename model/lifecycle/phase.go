// Package lifecycle holds the phases of a batch.
package lifecycle

// Phase is the phase of a batch, by its name on the wire.
type Phase string

// The phases of a batch.
const (
	Mixing  Phase = "mixing"
	Resting Phase = "resting"
	Open    Phase = "open"
	Closed  Phase = "closed"
)
