package record

import (
	"time"

	"potlifed/model/mix"
)

// MakeCan makes a can known. Exactly one of Ink, Hardener and Thinner says what it holds.
type MakeCan struct {
	ID       string `json:"id,omitempty" pattern:"^[a-z0-9][a-z0-9-]{0,31}$" doc:"to be written on the can; left out, it is given"`
	Ink      string `json:"ink,omitempty" doc:"what it holds: an ink"`
	Hardener string `json:"hardener,omitempty" doc:"or a hardener"`
	Thinner  string `json:"thinner,omitempty" doc:"or a thinner"`
	Lot      string `json:"lot,omitempty" maxLength:"60" doc:"as printed on the can"`
	Colour   string `json:"colour,omitempty" maxLength:"60"`
	OpenedOn string `json:"opened_on,omitempty" pattern:"^\\d{4}-\\d{2}-\\d{2}$" doc:"a date; left out, it is not open yet"`
	UseBy    string `json:"use_by,omitempty" pattern:"^\\d{4}-\\d{2}-\\d{2}$" doc:"the last day of its shelf life, as printed on the can"`
}

// OpenCan says since when a can is open.
type OpenCan struct {
	Can string `json:"can,omitempty" hidden:"true"`
	On  string `json:"on,omitempty" pattern:"^\\d{4}-\\d{2}-\\d{2}$" doc:"default: today, if the clock is set"`
}

// StirCan says that a can was stirred to the bottom.
type StirCan struct {
	Can string `json:"can,omitempty" hidden:"true"`
}

// EmptyCan says that nothing is left in a can, or takes that back.
type EmptyCan struct {
	Can  string `json:"can,omitempty" hidden:"true"`
	Undo bool   `json:"undo,omitempty" doc:"it is not empty after all"`
}

// Verb returns the last word of the change's path, which is also its MQTT command.
func (MakeCan) Verb() string  { return "cans" }
func (OpenCan) Verb() string  { return "opened" }
func (StirCan) Verb() string  { return "stirred" }
func (EmptyCan) Verb() string { return "emptied" }

// The states of a can.
const (
	CanNew            = "new" // not open yet
	CanInUse          = "in-use"
	CanExpired        = "expired"
	CanExpiryNotKnown = "expiry-not-known" // the clock is not set
	CanEmpty          = "empty"
)

// CanView is a can as it goes out.
type CanView struct {
	ID        string     `json:"id"`
	Part      mix.Part   `json:"part"`
	Material  string     `json:"material" doc:"the ink's, hardener's or thinner's id"`
	Lot       string     `json:"lot,omitempty"`
	Colour    string     `json:"colour,omitempty"`
	State     string     `json:"state" enum:"new,in-use,expired,expiry-not-known,empty"`
	OpenedOn  string     `json:"opened_on,omitempty"`
	UseBy     string     `json:"use_by,omitempty"`
	LastDay   string     `json:"last_day,omitempty" doc:"the earlier of use_by and what the hardener allows once it is open"`
	Stir      string     `json:"stir,omitempty" doc:"why it is to be stirred to the bottom before it is used"`
	MadeAt    time.Time  `json:"made_at"`
	StirredAt *time.Time `json:"stirred_at,omitempty"`
	UsedAt    *time.Time `json:"used_at,omitempty"`
	EmptiedAt *time.Time `json:"emptied_at,omitempty"`
}

// CanChoice is a can that the pour which a mix waits for may come from.
type CanChoice struct {
	Can      string `json:"can"`
	Material string `json:"material"`
	Lot      string `json:"lot,omitempty"`
	Colour   string `json:"colour,omitempty"`
	InUse    bool   `json:"in_use" doc:"the one that a confirm without a can is taken to mean"`
	Stir     string `json:"stir,omitempty" doc:"why it is to be stirred to the bottom first"`
	Expired  string `json:"expired,omitempty" doc:"why it is refused unless a person gives a reason"`
}
