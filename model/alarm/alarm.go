// Package alarm is the life cycle of an alarm after ISA-18.2 and IEC 62682: when a
// condition is an alarm, what state that puts it in, and what a person can do about
// it. It also holds the table of this program's alarms.
//
// It is pure. Instants are durations on a clock that never jumps; a [State] is to be
// kept over a restart, a [Filter] is not: it builds itself up again from the state.
package alarm

// State is an alarm's state by its word on every wire.
//
// The letters are those of the standards' state diagram. Its two latched states, E and
// F, are not used: every alarm here clears by itself once its cause is gone.
type State string

// The states.
const (
	Normal         State = "normal"         // A
	Unacknowledged State = "unacknowledged" // B
	Acknowledged   State = "acknowledged"   // C
	Returned       State = "returned"       // D: its cause is gone, and nobody has acknowledged it
	Shelved        State = "shelved"        // G: put aside by a person, for a time
	Suppressed     State = "suppressed"     // H: by design, since what it looks at cannot be seen
	OutOfService   State = "out-of-service" // I: its device is under maintenance
)

// Active reports whether an alarm in this state has a cause that people are told of.
func (s State) Active() bool { return s == Unacknowledged || s == Acknowledged }

// Awaits reports whether an alarm in this state waits to be acknowledged.
func (s State) Awaits() bool { return s == Unacknowledged || s == Returned }

// Silenced reports whether nothing is said of the alarm's cause in this state.
func (s State) Silenced() bool { return s == Shelved || s == Suppressed || s == OutOfService }

// Situation is what decides an alarm's next state, beside the one it has.
type Situation struct {
	Active       bool // its condition stands, delays and dead-band taken into account
	Shelved      bool // somebody has put it aside and the time is not over
	Suppressed   bool // what it looks at cannot be seen
	OutOfService bool // its device is under maintenance and the time is not over
}

// Next is the state that follows from a situation. Maintenance comes before shelving,
// and shelving before suppression. What was silenced begins afresh: unacknowledged if
// there still is a cause. A returned alarm has nothing left to suppress and goes on
// waiting for somebody to acknowledge it.
func Next(was State, is Situation) State {
	switch {
	case is.OutOfService:
		return OutOfService
	case is.Shelved:
		return Shelved
	case is.Suppressed && was != Returned:
		return Suppressed
	case is.Active && was == Acknowledged:
		return Acknowledged
	case is.Active && !is.Suppressed:
		return Unacknowledged
	case was == Unacknowledged || was == Returned:
		return Returned
	}
	return Normal
}

// Acknowledge is the state after somebody has said that they have seen the alarm.
func Acknowledge(was State) State {
	switch was {
	case Unacknowledged:
		return Acknowledged
	case Returned:
		return Normal
	}
	return was
}
