package request

// CountPrints says what a press has printed: what its counter stands at, or how many
// prints were made since the last time.
type CountPrints struct {
	Press string  `json:"press,omitempty" hidden:"true"`
	Total *uint64 `json:"total,omitempty" doc:"the press's own counter; the first one is its zero, and one that is lower than before a reset"`
	Add   *uint64 `json:"add,omitempty" doc:"in place of total"`
}

func (CountPrints) Verb() string { return "prints" }
