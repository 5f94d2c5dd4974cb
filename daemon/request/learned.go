package request

import "potlifed/model/cure"

// AcceptLearned accepts what was learned of an ink, for batches mixed from now on. It
// is made by the program from its own journal and never read from a request.
type AcceptLearned struct {
	Ink     string
	Sheet   cure.Ink
	Life    cure.Ink
	Verdict string `maxLength:"1000"`
	Ends    int
	Alive   int
	Assumed []string
}

// RevokeLearned goes back to the data sheet, for batches mixed from now on.
type RevokeLearned struct {
	Ink string `json:"ink,omitempty" hidden:"true" doc:"id of the ink"`
}

func (AcceptLearned) Verb() string { return "accept-learned" }

func (RevokeLearned) Verb() string { return "revoke-learned" }
