package request

// MakeCan registers a can. Exactly one of Ink, Hardener and Thinner says what it holds.
type MakeCan struct {
	ID       string `json:"id,omitempty" pattern:"^[a-z0-9][a-z0-9-]{0,31}$" doc:"id to write on the can; left out, the bench chooses one"`
	Ink      string `json:"ink,omitempty" doc:"id of the ink that it holds"`
	Hardener string `json:"hardener,omitempty" doc:"id of the hardener that it holds"`
	Thinner  string `json:"thinner,omitempty" doc:"id of the thinner that it holds"`
	Lot      string `json:"lot,omitempty" maxLength:"60" doc:"lot number, as printed on the can"`
	Colour   string `json:"colour,omitempty" maxLength:"60" doc:"colour of the ink"`
	OpenedOn string `json:"opened_on,omitempty" pattern:"^\\d{4}-\\d{2}-\\d{2}$" doc:"date on which it was opened, YYYY-MM-DD; left out, it is not open yet"`
	UseBy    string `json:"use_by,omitempty" pattern:"^\\d{4}-\\d{2}-\\d{2}$" doc:"last day of its shelf life, YYYY-MM-DD"`
}

// OpenCan records the date on which a can was opened.
type OpenCan struct {
	Can string `json:"can,omitempty" hidden:"true" doc:"id of the can"`
	On  string `json:"on,omitempty" pattern:"^\\d{4}-\\d{2}-\\d{2}$" doc:"date of opening, YYYY-MM-DD; default: today, if the clock is set"`
}

// StirCan records that a can was stirred to the bottom.
type StirCan struct {
	Can string `json:"can,omitempty" hidden:"true" doc:"id of the can"`
}

// EmptyCan records that a can is empty, or with Undo that it is not.
type EmptyCan struct {
	Can  string `json:"can,omitempty" hidden:"true" doc:"id of the can"`
	Undo bool   `json:"undo,omitempty" doc:"true: the can is not empty after all"`
}

func (MakeCan) Verb() string { return "cans" }

func (OpenCan) Verb() string { return "opened" }

func (StirCan) Verb() string { return "stirred" }

func (EmptyCan) Verb() string { return "emptied" }
