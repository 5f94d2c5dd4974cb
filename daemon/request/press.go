package request

import "time"

// MaxLate is how long after prints or rejects occurred they may still be reported with their
// time. The keys of reports are remembered for longer than that, so that no repetition counts
// twice.
const MaxLate = 15 * time.Minute

// CountPrints records what a press has printed: the reading of its counter, or the number
// of prints since the last time.
type CountPrints struct {
	Press string     `json:"press,omitempty" hidden:"true" doc:"id of the press"`
	Total *uint64    `json:"total,omitempty" doc:"state of the press's own counter; the first report sets the zero, and a lower one than before means that the counter was reset"`
	Add   *uint64    `json:"add,omitempty" doc:"instead of total: prints since the last report"`
	At    *time.Time `json:"at,omitempty" doc:"when they were printed, at most 15 minutes ago; default: now"`
}

// CountDefects records rejects of a press by one kind of defect: the reading of a counter, or
// the number of rejects since the last time.
type CountDefects struct {
	Press string     `json:"press,omitempty" hidden:"true" doc:"id of the press"`
	Kind  string     `json:"kind" minLength:"1" maxLength:"32" doc:"id of the kind of defect: pinholes, incomplete-transfer, stringing, smearing, poor-adhesion, ghost, colour-off, dust, or one of the configuration"`
	Total *uint64    `json:"total,omitempty" doc:"state of a device's own counter of this kind; the first report sets the zero, and a lower one than before means that the counter was reset"`
	Add   *int64     `json:"add,omitempty" doc:"instead of total: rejects since the last report; below 0 to correct an earlier report"`
	At    *time.Time `json:"at,omitempty" doc:"when the rejects were printed, at most 15 minutes ago; default: now"`
}

func (CountPrints) Verb() string  { return "prints" }
func (CountDefects) Verb() string { return "defects" }

// Late is a change that may be reported some time after it occurred, at most [MaxLate].
type Late interface {
	Change
	// Occurred returns the change with the time at which it occurred.
	Occurred(at time.Time) Change
}

func (c CountPrints) Occurred(at time.Time) Change {
	c.At = &at
	return c
}

func (c CountDefects) Occurred(at time.Time) Change {
	c.At = &at
	return c
}
