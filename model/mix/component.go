package mix

// Lot is a can that is in a batch.
type Lot struct {
	Part     Part   `json:"part"`
	Can      string `json:"can"`
	Material string `json:"material,omitempty"`
	Lot      string `json:"lot,omitempty"`
	Assumed  bool   `json:"assumed,omitempty" doc:"nobody named the can; it was the one in use"`
}

// Component is a part of a mix.
type Component struct {
	Part Part    `json:"part"`
	Can  string  `json:"can,omitempty"`
	G    float64 `json:"g"`
}
