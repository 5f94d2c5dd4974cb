package history

// Source is where a row comes from.
type Source string

// The sources.
const (
	Measured Source = "bench" // this bench recorded it
	Paper    Source = "paper" // a person imported it from paper records
)
