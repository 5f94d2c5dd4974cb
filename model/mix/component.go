package mix

// Component is a part of a mix.
type Component struct {
	Part Part    `json:"part" doc:"ink, hardener or thinner"`
	Can  string  `json:"can,omitempty" doc:"id of the can that it came from; absent when nobody said"`
	G    float64 `json:"g" doc:"mass in g"`
}
