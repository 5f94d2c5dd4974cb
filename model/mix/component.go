package mix

// Lot is a can that is in a batch.
type Lot struct {
	Part     Part   `json:"part" doc:"ink, hardener or thinner"`
	Can      string `json:"can" doc:"id of the can"`
	Material string `json:"material,omitempty" doc:"id of the ink, hardener or thinner"`
	Lot      string `json:"lot,omitempty" doc:"lot number, as printed on the can"`
	Assumed  bool   `json:"assumed,omitempty" doc:"nobody named the can; it was the one in use"`
}

// Component is a part of a mix.
type Component struct {
	Part Part    `json:"part" doc:"ink, hardener or thinner"`
	Can  string  `json:"can,omitempty" doc:"id of the can that it came from; absent when nobody said"`
	G    float64 `json:"g" doc:"mass in g"`
}
