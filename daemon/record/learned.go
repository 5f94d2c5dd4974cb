package record

import (
	"maps"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/cure"
)

// The kinds about an ink's learned parameters.
const (
	KindLearnedAccepted Kind = "learned-accepted"
	KindLearnedRevoked  Kind = "learned-revoked"
)

// LearnedAccepted records that a person accepted an ink's learned parameters. They are used
// for batches mixed from then on.
type LearnedAccepted struct {
	Ink     string   `json:"ink" doc:"id of the ink"`
	Sheet   cure.Ink `json:"sheet" doc:"parameters by the data sheet"`
	Life    cure.Ink `json:"life" doc:"parameters that new batches use"`
	Verdict string   `json:"verdict" doc:"what the batches showed, in sentences"`
	Ends    int      `json:"ends" doc:"number of batches whose end was seen"`
	Alive   int      `json:"alive" doc:"number of batches that were used up while still good"`
	Assumed []string `json:"assumed,omitempty" doc:"the parameters that are still assumed"`
}

// LearnedRevoked returns to the ink's data sheet for batches mixed from then on.
type LearnedRevoked struct {
	Ink string `json:"ink" doc:"id of the ink"`
}

// Learned holds the accepted parameters of an ink.
type Learned struct {
	At      time.Time  `json:"at"`
	By      actor.Name `json:"by"`
	Sheet   cure.Ink   `json:"sheet"`
	Life    cure.Ink   `json:"life"`
	Verdict string     `json:"verdict"`
	Assumed []string   `json:"assumed,omitempty"`
}

func (LearnedAccepted) Kind() Kind { return KindLearnedAccepted }
func (LearnedRevoked) Kind() Kind  { return KindLearnedRevoked }

func (LearnedAccepted) About() string { return "" }
func (LearnedRevoked) About() string  { return "" }

func (e LearnedAccepted) apply(s *State, r Record) {
	s.Learned = maps.Clone(s.Learned)
	if s.Learned == nil { // a checkpoint of a version without learned inks
		s.Learned = map[string]Learned{}
	}
	s.Learned[e.Ink] = Learned{At: r.Stamp.At, By: r.By, Sheet: e.Sheet, Life: e.Life, Verdict: e.Verdict, Assumed: e.Assumed}
}

func (e LearnedRevoked) apply(s *State, _ Record) {
	s.Learned = maps.Clone(s.Learned)
	delete(s.Learned, e.Ink)
}
