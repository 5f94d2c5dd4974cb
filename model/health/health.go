// Package health holds the conditions of an instrument.
package health

// Condition is the condition of an instrument, by its name on the wire.
type Condition string

// The conditions.
const (
	Waiting Condition = "waiting" // no reading since the start
	Up      Condition = "up"
	Stale   Condition = "stale" // the newest reading is too old
	Down    Condition = "down"  // its readings fail, or it is not connected
)

// Conditions returns all conditions.
func Conditions() []Condition { return []Condition{Waiting, Up, Stale, Down} }
