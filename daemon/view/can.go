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

// Can is a can as it goes out.
type Can struct {
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
