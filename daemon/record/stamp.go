package record

import "time"

// Stamp says when a record was made, three ways. At is the bench's own time: wall
// time that advances with CLOCK_BOOTTIME and moves otherwise only by a
// [ClockChanged] or a [Started] record, so that durations between records of one
// boot are exact whatever happens to the wall clock.
type Stamp struct {
	At     time.Time     `json:"at"`
	Boot   string        `json:"boot"`   // the kernel's boot id
	Mono   time.Duration `json:"mono"`   // CLOCK_BOOTTIME: since that boot, sleep included
	Synced bool          `json:"synced"` // the wall clock is known to be set
}
