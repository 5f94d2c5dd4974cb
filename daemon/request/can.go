package request

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

func (MakeCan) Verb() string { return "cans" }

func (OpenCan) Verb() string { return "opened" }

func (StirCan) Verb() string { return "stirred" }

func (EmptyCan) Verb() string { return "emptied" }
