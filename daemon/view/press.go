package view

import (
	"time"

	"potlifed/model/cure"
	"potlifed/model/light"
)

// Press is a press with what stands on it.
type Press struct {
	ID         string         `json:"id"`
	Zone       string         `json:"zone"`
	Cup        string         `json:"cup"`
	Batch      *string        `json:"batch"`
	Light      light.Meaning  `json:"meaning"`
	Flashing   bool           `json:"flashing"`
	Reason     string         `json:"reason"`
	RemainingS *Span[float64] `json:"remaining_s"`
	Risk       *float64       `json:"risk"`
	// PrintsTotal is absent while nobody has counted.
	PrintsTotal *uint64 `json:"prints_total,omitempty"`

	// How a cup stands on it, and what goes into one.
	Place        cure.Place `json:"-"`
	InkMinimumG  float64    `json:"-"`
	FillMaximumG float64    `json:"-"`
}

// Light is what a light is to show. Whoever sends it on sets ValidUntil anew
// each time, from the time of the snapshot, so that a light learns of a bench that
// stands still.
type Light struct {
	Time       time.Time     `json:"time"`
	ID         string        `json:"id"`
	ValidUntil time.Time     `json:"valid_until"`
	Seq        uint64        `json:"seq"`
	Meaning    light.Meaning `json:"meaning"`
	Colour     string        `json:"colour"`
	Flashing   bool          `json:"flashing"`
	Reason     string        `json:"reason"`
	Press      string        `json:"press,omitempty"`
	Batch      string        `json:"batch,omitempty"`

	// What the lamp reports back; absent for one that does not.
	Confirmation string     `json:"confirmation,omitempty" enum:"confirmed,waiting,silent" doc:"whether the lamp confirms what it was told; absent for one that does not report back"`
	ConfirmedAt  *time.Time `json:"confirmed_at,omitempty" doc:"when it last did"`
	Says         string     `json:"says,omitempty" doc:"what it reports in place of what it was told"`
}

// LightValidFor is how long a light may go on showing what it was told.
const LightValidFor = 90 * time.Second
