package request

// CountPrints records what a press has printed: the reading of its counter, or the number
// of prints since the last time.
type CountPrints struct {
	Press string  `json:"press,omitempty" hidden:"true" doc:"id of the press"`
	Total *uint64 `json:"total,omitempty" doc:"state of the press's own counter; the first report sets the zero, and a lower one than before means that the counter was reset"`
	Add   *uint64 `json:"add,omitempty" doc:"instead of total: prints since the last report"`
}

func (CountPrints) Verb() string { return "prints" }
