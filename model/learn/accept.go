package learn

import (
	"errors"
	"fmt"

	"potlifed/model/cure"
)

// Test is a logged test of what was printed with an ink.
type Test struct {
	Batch  string `json:"batch"`
	Kind   string `json:"kind"` // adhesion or rub; other kinds do not count here
	Passed bool   `json:"passed"`
}

// The kinds of test that can speak for a longer life.
const (
	TestAdhesion = "adhesion"
	TestRub      = "rub"
)

var (
	// ErrNothingLearned means that the result says nothing that was not known before.
	ErrNothingLearned = errors.New("nothing is learned yet: the data sheet stands")
	// ErrNeedsTest means that a longer life needs a passed test: a visible end comes later than
	// the loss of adhesion that a data sheet means (ISO 9514).
	ErrNeedsTest = errors.New("the learned life is longer than the data sheet's: " +
		"it is used only with a passed adhesion or rub test of this ink, none failed")
)

// Accepted is what a person puts into effect for batches mixed from then on. The event that
// carries it says who did so, and when.
type Accepted struct {
	Ink      string `json:"ink"`
	Hardener string `json:"hardener,omitempty"`
	// Life replaces the ink of the data sheet: centre and spreads.
	Life  cure.Ink `json:"life"`
	Sheet cure.Ink `json:"sheet"`
	// Learned names the parameters that the batches determine, Assumed those that are still as
	// before.
	Learned         []string `json:"learned"`
	Assumed         []string `json:"assumed"`
	LifeRatio       Estimate `json:"life_ratio"`
	Ends            int      `json:"ends"`
	Censored        int      `json:"censored"`
	LeftOut         int      `json:"left_out"`
	LongerThanSheet bool     `json:"longer_than_sheet"`
	Tests           []Test   `json:"tests,omitempty"`
	Verdict         string   `json:"verdict"`
	Lots            Lots     `json:"lots,omitzero"`
}

// Accept returns the result in the form in which it is put into effect. The result must have
// learned something; otherwise the error is ErrNothingLearned. A life that is longer than that
// of the data sheet somewhere between its ends needs a passed adhesion or rub test and no failed
// one; otherwise the error is ErrNeedsTest. With a test in jars the result is accepted without that, and the
// life is shortened until it is nowhere longer than the sheet's: activation energy and moisture share are then used, a
// longer life is not. The caller asks the person.
func (r Result) Accept(tests []Test) (Accepted, error) {
	switch {
	case r.Fault != "":
		return Accepted{}, errors.New(r.Fault)
	case r.PriorNone:
		return Accepted{}, errors.New("a fit without the prior is for comparison, not for use")
	}
	learned, assumed := r.Learned()
	if len(learned) == 0 {
		return Accepted{}, ErrNothingLearned
	}
	if err := r.Posterior.Valid(); err != nil {
		return Accepted{}, fmt.Errorf("the learned %w", err)
	}
	life := r.Posterior
	if r.LongerThanSheet && !speakForLonger(tests) {
		if r.Jars == 0 {
			return Accepted{}, ErrNeedsTest
		}
		life = notLonger(life, r.Sheet)
	}
	return Accepted{
		Ink: r.Ink, Hardener: r.Hardener, Life: life, Sheet: r.Sheet, Learned: learned, Assumed: assumed, LifeRatio: r.LifeRatio,
		Ends: r.Ends, Censored: r.Censored, LeftOut: len(r.LeftOut), LongerThanSheet: r.LongerThanSheet, Tests: tests, Verdict: r.Verdict(), Lots: r.Lots,
	}, nil
}

// speakForLonger reports whether at least one test of the right kind was passed and none failed.
func speakForLonger(tests []Test) bool {
	passed := false
	for _, test := range tests {
		if test.Kind != TestAdhesion && test.Kind != TestRub {
			continue
		}
		if !test.Passed {
			return false
		}
		passed = true
	}
	return passed
}
