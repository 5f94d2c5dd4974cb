package request

import (
	"potlifed/model/cure"
	"potlifed/model/learn"
)

// AcceptLearned accepts an ink's learned parameters for batches mixed from then on. The
// program makes it from its own journal; it is never read from a request.
type AcceptLearned struct {
	Ink     string
	Sheet   cure.Ink
	Life    cure.Ink
	Verdict string `maxLength:"1000"`
	Ends    int
	Alive   int
	Assumed []string
	Lots    learn.Lots
}

// RevokeLearned returns to the ink's data sheet for batches mixed from then on.
type RevokeLearned struct {
	Ink string `json:"ink,omitempty" hidden:"true" doc:"id of the ink"`
}

func (AcceptLearned) Verb() string { return "accept-learned" }

func (RevokeLearned) Verb() string { return "revoke-learned" }
