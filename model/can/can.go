// Package can holds the rules for the cans that a mix is poured from: when a can's last
// day is, whether it must be stirred first, and which can is meant when nobody names one.
//
// It is pure: the time, whether the clock can be relied on, and what the configuration
// says of a hardener are arguments (see [Rules]).
package can

import (
	"time"

	"potlifed/model/mix"
)

// Can is a can of ink, hardener or thinner.
type Can struct {
	ID       string    `json:"id"`
	Part     mix.Part  `json:"part"`
	Material string    `json:"material"` // the ink's, hardener's or thinner's id
	Lot      string    `json:"lot,omitempty"`
	Colour   string    `json:"colour,omitempty"`
	OpenedOn string    `json:"opened_on,omitempty"` // a date
	UseBy    string    `json:"use_by,omitempty"`    // a date
	MadeAt   time.Time `json:"made_at"`             // when it was registered
	// StirredAt, UsedAt and EmptiedAt are zero before the first time.
	StirredAt time.Time `json:"stirred_at,omitzero"`
	UsedAt    time.Time `json:"used_at,omitzero"`
	EmptiedAt time.Time `json:"emptied_at,omitzero"`
	// Doubt: a power cut of unknown length happened since the last stir, so that the time
	// for which the can has stood is only a lower bound.
	Doubt bool `json:"doubt,omitempty"`
}

// handledAt returns when somebody last stirred the can or poured from it, zero if nobody
// ever did.
func (c Can) handledAt() time.Time {
	if c.UsedAt.After(c.StirredAt) {
		return c.UsedAt
	}
	return c.StirredAt
}

// Empty reports whether somebody has said that nothing is left in the can.
func (c Can) Empty() bool { return !c.EmptiedAt.IsZero() }

// Date returns the date of a time in its own time zone, in the form 2006-01-02, in which the dates
// of a can are written and compared.
func Date(at time.Time) string { return at.Format(time.DateOnly) }

// Lot names a can whose contents are in a batch, with its lot where the can is registered.
type Lot struct {
	Part     mix.Part `json:"part" doc:"ink, hardener or thinner"`
	Can      string   `json:"can" doc:"id of the can"`
	Material string   `json:"material,omitempty" doc:"id of the ink, hardener or thinner"`
	Lot      string   `json:"lot,omitempty" doc:"lot number, as printed on the can"`
	Assumed  bool     `json:"assumed,omitempty" doc:"nobody named the can; it was the one in use"`
}
