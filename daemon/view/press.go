package view

import (
	"time"

	"potlifed/model/cure"
	"potlifed/model/light"
)

// Press is the row of a press and what is loaded on it.
type Press struct {
	ID          string         `json:"id" doc:"id of the press"`
	Zone        string         `json:"zone" doc:"id of the zone that the press is in"`
	Cup         string         `json:"cup" doc:"id of the kind of cup that goes on it"`
	Batch       *string        `json:"batch" doc:"id of the batch that is loaded; null when none is"`
	Next        string         `json:"next_mix,omitempty" doc:"id of the mix that comes next on the press: of those that are ready the one that is safe for longest, or else the oldest that is being mixed or rests; a mix that is past its earliest end or too likely to have gone off is not meant, nor one of the same ink that is safe for no longer than the loaded batch"`
	Light       light.Meaning  `json:"meaning" doc:"what the light of the press means: do-not-print, unknown, act, soon, in-order or empty"`
	Flashing    bool           `json:"flashing" doc:"the light flashes: an alarm is not acknowledged, or the state is unknown"`
	Cause       light.Cause    `json:"cause" doc:"why the light has this meaning, as a fixed word, such as ends-soon or age-uncertain"`
	Reason      string         `json:"reason" doc:"why the light has this meaning, in a sentence"`
	RemainingS  *Span[float64] `json:"remaining_s" doc:"remaining pot life of the loaded batch in s; null when there is none"`
	Risk        *float64       `json:"risk" doc:"probability that the loaded batch is past its pot life, 0 to 1; null when there is none"`
	PrintsTotal *uint64        `json:"prints_total,omitempty" doc:"prints that were reported for this press; absent while none were"`
	PrintsToday uint64         `json:"prints_today,omitempty" doc:"prints of today on the shop's calendar; absent when there are none"`
	Defects     []DefectCount  `json:"defects" doc:"rejects by kind of defect, every kind that there is"`

	// The exposure of a cup on the press, and the limits of its content in g.
	Place        cure.Place `json:"-"`
	InkMinimumG  float64    `json:"-"`
	FillMaximumG float64    `json:"-"`
}

// DefectCount is how many prints of a press were rejected for a kind of defect.
type DefectCount struct {
	Kind  string `json:"kind" doc:"id of the kind of defect"`
	Words string `json:"words" doc:"name of the kind of defect"`
	Total uint64 `json:"total" doc:"rejects that were reported, less corrections"`
	Today uint64 `json:"today" doc:"rejects of today on the shop's calendar"`
	// Highest is the largest total so far, as of the last minute; it does not fall with a
	// correction.
	Highest uint64 `json:"-"`
}

// Light is what a light is to show. The sender of a message sets ValidUntil from the time of the
// snapshot each time, so that a light notices when the bench has stopped.
type Light struct {
	Time       time.Time     `json:"time" doc:"time of the state"`
	ID         string        `json:"id" doc:"id of the light"`
	ValidUntil time.Time     `json:"valid_until" doc:"after this time, 90 s after the last message, a lamp must show unknown"`
	Seq        uint64        `json:"seq" doc:"number of the newest event that this state includes"`
	Meaning    light.Meaning `json:"meaning" doc:"what the light means: do-not-print, unknown, act, soon, in-order or empty"`
	Colour     string        `json:"colour" doc:"colour of the light: red, yellow, blue, green or white"`
	Flashing   bool          `json:"flashing" doc:"the light flashes"`
	Cause      light.Cause   `json:"cause" doc:"why the light has this meaning, as a fixed word, such as ends-soon or age-uncertain"`
	Reason     string        `json:"reason" doc:"why the light has this meaning, in a sentence"`
	Press      string        `json:"press,omitempty" doc:"id of the press that decides the meaning, the most serious one of the light's presses"`
	Batch      string        `json:"batch,omitempty" doc:"id of the batch that decides the meaning"`

	Confirmation light.Confirmation `json:"confirmation,omitempty" enum:"confirmed,waiting,silent" doc:"whether the lamp confirms its messages: confirmed, waiting or silent; absent for a lamp that does not report back"`
	ConfirmedAt  *time.Time         `json:"confirmed_at,omitempty" doc:"when the lamp last confirmed a message"`
	Says         string             `json:"says,omitempty" doc:"what the lamp reports when it differs from the message"`
}

// LightValidFor is for how long a light may show the last message.
const LightValidFor = 90 * time.Second
