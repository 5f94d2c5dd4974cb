// Package alarm implements the life cycle of an alarm after ISA-18.2 and IEC 62682: when a
// condition is an alarm, which state the alarm is in, and what a person can do about it. It also
// holds the table of this program's alarms.
//
// The package is pure. Instants are durations on a clock that never jumps. A [State] must be
// kept over a restart. A [Filter] need not be kept: it is made again from the state.
package alarm

// State is the state of an alarm, by its name on the wire.
//
// The letters are those of the state diagram of the standards. Their two latched states, E and
// F, are not used: every alarm of this program clears by itself once its cause is gone.
type State string

// The states.
const (
	Normal         State = "normal"         // A
	Unacknowledged State = "unacknowledged" // B
	Acknowledged   State = "acknowledged"   // C
	Returned       State = "returned"       // D: its cause is gone, and nobody has acknowledged it
	Shelved        State = "shelved"        // G: a person has put it aside for a time
	Suppressed     State = "suppressed"     // H: by design, since its condition cannot be observed
	OutOfService   State = "out-of-service" // I: its device is under maintenance
)

// Active reports whether an alarm in this state has a cause that people are told about.
func (s State) Active() bool { return s == Unacknowledged || s == Acknowledged }

// Awaits reports whether an alarm in this state waits to be acknowledged.
func (s State) Awaits() bool { return s == Unacknowledged || s == Returned }

// Silenced reports whether people are not told about the alarm's cause in this state.
func (s State) Silenced() bool { return s == Shelved || s == Suppressed || s == OutOfService }

// Situation is what decides the next state of an alarm, beside its present state.
type Situation struct {
	Active       bool // its condition holds, with delays and dead-band taken into account
	Shelved      bool // somebody has shelved it, and the time is not over
	Suppressed   bool // its condition cannot be observed
	OutOfService bool // its device is under maintenance and the time is not over
}

// Next returns the state that follows from a situation. Maintenance has precedence over
// shelving, and shelving over suppression. An alarm that was silenced starts again: it is
// unacknowledged if there still is a cause. A returned alarm cannot be suppressed; it goes on
// waiting for an acknowledgement.
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

// Acknowledge returns the state after somebody has acknowledged the alarm.
func Acknowledge(was State) State {
	switch was {
	case Unacknowledged:
		return Acknowledged
	case Returned:
		return Normal
	}
	return was
}
