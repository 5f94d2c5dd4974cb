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

// Fault is why an instrument is down, by a fixed word.
type Fault string

// The faults.
const (
	NotOpened   Fault = "not-opened"  // nobody has tried to open it yet
	Absent      Fault = "absent"      // nothing is connected
	Busy        Fault = "busy"        // another program uses it
	Denied      Fault = "denied"      // this user may not open it
	NotSerial   Fault = "not-serial"  // the path names something else than a serial port
	Settings    Fault = "settings"    // its settings cannot be used
	Lost        Fault = "lost"        // it was connected and is no longer
	Garbled     Fault = "garbled"     // it sends what cannot be read
	Blocked     Fault = "blocked"     // a reading does not come back
	Implausible Fault = "implausible" // it sends a value that cannot be true
	NoHumidity  Fault = "no-humidity" // it is there and measures no humidity
	OtherKind   Fault = "other-kind"  // it is there and is of another kind
	NoValue     Fault = "no-value"    // it answers that it has no value
	NotHeard    Fault = "not-heard"   // nothing that can be used has come from it
	OtherFault  Fault = "other"
)
