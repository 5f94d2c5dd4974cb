package view

import (
	"time"

	"potlifed/model/mix"
)

// The states of a can.
const (
	CanNew            = "new" // not open yet
	CanInUse          = "in-use"
	CanExpired        = "expired"
	CanExpiryNotKnown = "expiry-not-known" // the clock is not set
	CanEmpty          = "empty"
)

// Can is the row of a can.
type Can struct {
	ID        string     `json:"id" doc:"id of the can, as written on it"`
	Part      mix.Part   `json:"part" doc:"what it holds: ink, hardener or thinner"`
	Material  string     `json:"material" doc:"the ink's, hardener's or thinner's id"`
	Lot       string     `json:"lot,omitempty" doc:"lot number, as printed on the can"`
	Colour    string     `json:"colour,omitempty" doc:"colour of the ink"`
	State     string     `json:"state" enum:"new,in-use,expired,expiry-not-known,empty" doc:"new (not opened), in-use, expired, expiry-not-known (the clock is not set) or empty"`
	OpenedOn  string     `json:"opened_on,omitempty" doc:"date on which it was opened, YYYY-MM-DD"`
	UseBy     string     `json:"use_by,omitempty" doc:"last day of its shelf life, YYYY-MM-DD"`
	LastDay   string     `json:"last_day,omitempty" doc:"last day on which it may be used, YYYY-MM-DD: the earlier of use_by and the hardener's time after opening"`
	Stir      string     `json:"stir,omitempty" doc:"why it is to be stirred to the bottom before it is used"`
	MadeAt    time.Time  `json:"made_at" doc:"when the can was registered"`
	StirredAt *time.Time `json:"stirred_at,omitempty" doc:"when it was last stirred to the bottom"`
	UsedAt    *time.Time `json:"used_at,omitempty" doc:"when something was last poured from it"`
	EmptiedAt *time.Time `json:"emptied_at,omitempty" doc:"when it was reported empty"`
}

// CanChoice is a can that the pour which a mix waits for may come from.
type CanChoice struct {
	Can      string `json:"can" doc:"id of the can"`
	Material string `json:"material" doc:"id of the ink, hardener or thinner"`
	Lot      string `json:"lot,omitempty" doc:"lot number, as printed on the can"`
	Colour   string `json:"colour,omitempty" doc:"colour of the ink"`
	InUse    bool   `json:"in_use" doc:"a confirm that names no can is taken to mean this one"`
	Stir     string `json:"stir,omitempty" doc:"why it is to be stirred to the bottom first"`
	Expired  string `json:"expired,omitempty" doc:"why it is refused unless a person gives a reason"`
	LastDay  string `json:"last_day,omitempty" doc:"its last day, YYYY-MM-DD, where expired says something"`
	// ExpiryNotKnown tells apart the two reasons for expired.
	ExpiryNotKnown bool `json:"expiry_not_known,omitempty" doc:"expired says that the clock is not set, so whether the last day is over is not known"`
}
