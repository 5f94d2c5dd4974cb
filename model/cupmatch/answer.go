package cupmatch

import (
	"slices"

	"potlifed/model/guide"
	"potlifed/model/message"
)

// The codes of refusals about cups, beside those of the guide.
const (
	WhichCup    = "which-cup"    // two cups fit, or the one on the scale may be another mix's
	OtherCup    = "other-cup"    // the cup of another mix still stands there
	OtherWeight = "other-weight" // the mix that is taken up does not weigh as much
)

func stepError(code, key string, values ...any) error {
	return &guide.StepError{Code: code, Message: message.New(key, values...)}
}

// CheckConfirm returns why a step of the mix that is weighed cannot be confirmed, nil if it
// can be: not while it is open whose cup stands on the scale, and the cup of another mix is
// no empty cup. g is the newest reading. override is a person's reason to confirm an empty
// cup all the same. The error is a [*guide.StepError] with the code [WhichCup].
func (m *Matcher) CheckConfirm(weighed guide.Mix, g float64, override string, waiting []Cup) error {
	if !(m.cleared && weighed.Step.Stirs()) {
		if err := m.CheckKnown(); err != nil {
			return err
		}
	}
	if !weighed.Step.Swaps() || override != "" {
		return nil
	}
	for _, other := range waiting {
		if other.Gross.Known() && other.begun() && m.shows(other.Gross, g) {
			if weighed.Step == guide.PourOver {
				return stepError(WhichCup, "cup-of-other-over", "mix", other.ID)
			}
			return stepError(WhichCup, "cup-of-other", "mix", other.ID)
		}
	}
	return nil
}

// CheckKnown returns an error, with the code [WhichCup], while it is open whose cup stands on the scale, or stood
// there last.
func (m *Matcher) CheckKnown() error {
	if len(m.asked) > 0 {
		return stepError(WhichCup, "whose-cup", "mixes", m.asked)
	}
	return nil
}

// Resume returns the waiting mix of c after a person has chosen to continue it. resumed is true
// if this does not depend on what the scale shows now: the mix has no confirmed cup yet, or the
// matcher had asked whether the cup on the scale is that of this mix. Otherwise the mix is
// returned unchanged, and [Matcher.ResumeAt] must be called.
func (m *Matcher) Resume(c Cup) (next guide.Mix, resumed bool) {
	switch {
	case !c.begun():
		return c.Mix.TakenUp(0), true
	case slices.Contains(m.Open(), c.ID) && m.emptied:
		return c.Mix.Awaited(m.askedG), true // what its cup weighs above what it should is a pour that is not taken
	case slices.Contains(m.Open(), c.ID):
		return c.Mix.TakenUp(m.askedG), true
	}
	return c.Mix, false
}

// ResumeAt returns a waiting mix as it goes on after a person has taken it up at a settled
// weight of g: from the cup that stands on the scale if that can be its own, or waiting
// for its cup if the pan is empty. override is a person's reason to go on with a cup that
// weighs something else. The error is a [*guide.StepError].
func (m *Matcher) ResumeAt(c Cup, on *Cup, g float64, settled bool, override string) (guide.Mix, error) {
	if !settled {
		return c.Mix, stepError(guide.Unsettled, "not-settled-mix", "mix", c.ID)
	}
	if g <= m.divisionG && m.empty(g) {
		return c.Mix.Awaited(g), nil
	}
	if on != nil && on.begun() && !slices.ContainsFunc(m.zerosG, func(tared float64) bool {
		return m.mayBeEmptied(on.Mix.GrossG(0).G, tared)
	}) {
		return c.Mix, stepError(OtherCup, "other-cup-there", "other", on.ID, "mix", c.ID)
	}
	if override == "" && !m.shows(c.Gross, g) {
		return c.Mix, stepError(OtherWeight, "other-weight", "shows_g", g, "mix", c.ID, "expected_g", c.Gross.G)
	}
	return c.Mix.TakenUp(g), nil
}
