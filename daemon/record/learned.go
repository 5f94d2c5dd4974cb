package record

import (
	"maps"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/cure"
)

// The kinds of what a shop has learned of its inks.
const (
	KindLearnedAccepted Kind = "learned-accepted"
	KindLearnedRevoked  Kind = "learned-revoked"
)

// LearnedAccepted says that a person accepts what was learned of an ink. It is for
// batches mixed from now on.
type LearnedAccepted struct {
	Ink     string   `json:"ink"`
	Sheet   cure.Ink `json:"sheet"` // the data sheet that it was learned against
	Life    cure.Ink `json:"life"`
	Verdict string   `json:"verdict"`
	Ends    int      `json:"ends"`
	Alive   int      `json:"alive"`
	Assumed []string `json:"assumed,omitempty"` // the parameters that are still as before
}

// LearnedRevoked takes that back: batches mixed from now on go by the data sheet.
type LearnedRevoked struct {
	Ink string `json:"ink"`
}

// Learned is what was accepted of an ink.
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
	if s.Learned == nil { // a checkpoint of before inks were learned
		s.Learned = map[string]Learned{}
	}
	s.Learned[e.Ink] = Learned{At: r.Stamp.At, By: r.By, Sheet: e.Sheet, Life: e.Life, Verdict: e.Verdict, Assumed: e.Assumed}
}

func (e LearnedRevoked) apply(s *State, _ Record) {
	s.Learned = maps.Clone(s.Learned)
	delete(s.Learned, e.Ink)
}
