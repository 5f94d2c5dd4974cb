package record

import "time"

// Stamp is the time of a record, on three clocks. At is bench time: wall time that advances
// with CLOCK_BOOTTIME and is otherwise moved only by a [ClockChanged] or a [Started]
// record. Durations between records of one boot are therefore exact, even when the wall
// clock is stepped.
type Stamp struct {
	At     time.Time     `json:"at"`
	Boot   string        `json:"boot"`   // the kernel's boot id
	Mono   time.Duration `json:"mono"`   // CLOCK_BOOTTIME: since that boot, sleep included
	Synced bool          `json:"synced"` // the wall clock is known to be set
}
