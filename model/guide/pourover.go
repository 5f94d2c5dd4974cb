package guide

import (
	"math"
	"slices"

	"potlifed/model/weigh"
)

// PourOver is the step in which a mix is poured into another cup. It can interrupt any step in
// which something is poured or stirred, and the mix returns to that step. It is none of the steps in order.
//
// While it lasts, the scale shows the old cup, the new one, or nothing, and none of it is a pour.
// The mix leaves the step by [Mix.Confirm] once the new cup stands on the scale with all that was
// in the old one, or by [Mix.KeepCup].
const PourOver Step = "pour-over"

// By how much the content may have become lighter without a person's reason: what sticks to the
// old cup. Assumptions, no source.
const (
	stuckShare = 0.05 // of the content
	// A scale that was tared with the old cup on it, or the new one, shows less by the whole weight of that
	// cup. Half of it is never taken for ink that stuck.
	stuckOfCup = 0.5
)

// OtherCup is the cup that a mix is poured into.
type OtherCup struct {
	Kind string `json:"kind" doc:"id of the kind of the new cup"`
	// MaximumG is the largest mass of a finished mix in this cup, in g; 0 for no limit.
	MaximumG float64 `json:"maximum_g,omitempty" doc:"largest mass of a finished mix in it, in g; absent for no limit"`
	// EmptyG is its weight, as stated or as weighed on the scale; 0 until it is known.
	EmptyG float64 `json:"empty_g,omitempty" doc:"weight of the new cup in g, as stated or as weighed; absent until it is known"`
	// Weighed: EmptyG is what the scale showed of this very cup, set down on a pan that showed zero.
	Weighed bool `json:"weighed,omitempty" doc:"the new cup itself was weighed on the scale"`
}

// PouringOver is what is being poured into another cup. It was read while the old cup stood on the scale.
type PouringOver struct {
	To OtherCup `json:"to" doc:"the new cup"`
	// From is the step that the mix returns to.
	From Step `json:"from" doc:"the step that was interrupted, to which the mix returns"`
	// NotTakenG is what was in the old cup and in no record, in g. It is not taken afterwards either.
	NotTakenG float64 `json:"not_taken_g,omitempty" doc:"mass in g that is in the cup and was not taken yet"`
}

// Shifted is what an accepted pour-over did.
type Shifted struct {
	BeforeG float64 // content of the old cup
	AfterG  float64 // content of the new one
	LostG   float64 // what stayed in the old cup
}

// Swaps reports whether the mix waits for a cup: what the scale shows is not weighed for it.
func (s Step) Swaps() bool { return s == Cup || s == PourOver }

// ContentG returns what is poured over in the step [PourOver], in g: what was taken and what was not.
func (m Mix) ContentG() float64 { return m.Poured().TotalG() + m.Over.NotTakenG }

// Move returns the mix as it waits to be poured into another cup, while the old one still stands
// on the scale at its settled weight. A mix that waits already only gets another new cup; c is not
// used then. c needs no step. The error is a [*StepError].
func (m Mix) Move(to OtherCup, c Confirm) (Mix, error) {
	was := m
	if m.Step == PourOver {
		over := *m.Over
		over.To = to
		m.Over = &over
		return m.withRoom(was)
	}
	switch {
	case m.ByHand || !m.Step.Pours() && !m.Step.Stirs():
		return was, stepError(WrongStep, "no-pour-over", "step", m.Step)
	case c.Aside:
		return was, stepError(NotOnScale, "set-aside-over")
	case !c.Settled || math.IsNaN(c.WeightG) || math.Abs(c.WeightG) > MaximumG:
		return was, stepError(Unsettled, "not-settled-over")
	}
	m, err := m.ready(c)
	if err != nil {
		return was, err
	}
	loose := m.Pan.PouredG(c.WeightG)
	if loose < -weigh.Clinging(m.Poured().TotalG(), m.Recipe.DivisionG) {
		return was, stepError(NothingPoured, "less-than-before", "less_g", -loose)
	}
	m.Over = &PouringOver{To: to, From: m.Step, NotTakenG: max(loose, 0)}
	if m.ContentG() < m.Recipe.DivisionG*(1-1e-6) {
		return was, stepError(NothingPoured, "nothing-to-pour-over")
	}
	m.Pan.HeldG, m.Step, m.ByBench = c.WeightG, PourOver, ""
	return m.withRoom(was)
}

// withRoom returns the mix as it was, and an error, if the new cup does not take what is in the old one.
func (m Mix) withRoom(was Mix) (Mix, error) {
	if most := m.Over.To.MaximumG; most > 0 && m.ContentG() > most {
		return was, stepError(TooMuch, "over-too-small", "in_cup_g", m.ContentG(), "cup", m.Over.To.Kind, "cup_g", most)
	}
	return m, nil
}

// KeepCup returns the mix as it was before [Mix.Move], when the old cup stands on the scale as it
// did. The error is a [*StepError].
func (m Mix) KeepCup(c Confirm) (Mix, error) {
	switch {
	case m.Step != PourOver:
		return m, stepError(WrongStep, "not-poured-over")
	case c.Aside:
		return m, stepError(NotOnScale, "set-aside-over")
	case !c.Settled || math.IsNaN(c.WeightG):
		return m, stepError(Unsettled, "not-settled-over")
	}
	lost := m.Pan.HeldG - c.WeightG
	if lost > weigh.Clinging(m.ContentG(), m.Recipe.DivisionG) || lost < -2*m.Recipe.DivisionG {
		return m, stepError(CupAway, "old-cup-not-back", "before_g", m.Pan.HeldG)
	}
	next := m.Weighed(weigh.Pan{BaseG: m.Pan.BaseG - max(lost, 0), HeldG: c.WeightG, CupTared: m.Pan.CupTared})
	next.Step, next.Over = m.Over.From, nil
	return next, nil
}

// confirmOver takes the weight of the new cup, while that is not known, and otherwise that of the
// new cup with all that was in the old one.
func (m Mix) confirmOver(c Confirm) (Mix, error) {
	if !c.Lifted {
		return m, stepError(CupAway, "old-cup-there", "shows_g", c.WeightG)
	}
	if m.Over.To.EmptyG == 0 {
		return m.weighNewCup(c)
	}
	s := m.shifted(c.WeightG)
	above, missing := m.slackOver(), m.mayStick()
	switch {
	case s.AfterG <= 0 || s.AfterG-s.BeforeG > above:
		return m, stepError(OtherContent, "over-weighs-other", "after_g", s.AfterG, "before_g", s.BeforeG, "cup_g", m.Over.To.EmptyG)
	case s.LostG > missing && c.Override == "":
		return m, stepError(LostOver, "over-lost", "lost_g", s.LostG, "after_g", s.AfterG, "before_g", s.BeforeG)
	}
	return m.inNewCup(c.WeightG, s), nil
}

// weighNewCup takes a reading as the weight of the new cup, which is empty.
func (m Mix) weighNewCup(c Confirm) (Mix, error) {
	readingG := c.WeightG
	switch {
	case !CanBeCup(readingG):
		return m, stepError(CupAway, "no-new-cup")
	case readingG >= m.Pan.HeldG-weigh.Clinging(m.ContentG(), m.Recipe.DivisionG) && readingG <= m.Pan.HeldG+2*m.Recipe.DivisionG:
		return m, stepError(CupAway, "old-cup-there", "shows_g", readingG)
	case !c.SetDown:
		return m, stepError(CupAway, "new-cup-not-from-zero")
	}
	over := *m.Over
	over.To.EmptyG, over.To.Weighed = readingG, true
	m.Over = &over
	return m, nil
}

// Shifted returns what a confirmation of [PourOver] at a reading in g would do. ok is false at other
// steps, and until the weight of the new cup is known.
func (m Mix) Shifted(readingG float64) (s Shifted, ok bool) {
	if m.Step != PourOver || m.Over.To.EmptyG == 0 {
		return Shifted{}, false
	}
	return m.shifted(readingG), true
}

func (m Mix) shifted(readingG float64) Shifted {
	s := Shifted{BeforeG: m.ContentG(), AfterG: readingG - m.Over.To.EmptyG}
	s.LostG = max(s.BeforeG-s.AfterG, 0)
	return s
}

// slackOver returns by how many g the new cup may weigh more than it should: two divisions, and where
// it was not weighed here, by how much cups of one kind differ.
func (m Mix) slackOver() float64 {
	slack := 2 * m.Recipe.DivisionG
	if !m.Over.To.Weighed {
		slack += max(cupsDifferG, cupsDifferShare*m.Over.To.EmptyG)
	}
	return slack
}

// mayStick returns by how many g the content may have become lighter without a reason.
func (m Mix) mayStick() float64 {
	old := m.CupG
	if !m.cupWeighed() {
		old = max(m.Recipe.CupEmptyG, leastCupG)
	}
	return max(min(stuckShare*m.ContentG(), stuckOfCup*m.Over.To.EmptyG, stuckOfCup*old), 2*m.Recipe.DivisionG)
}

// inNewCup returns the mix in its new cup. What stayed in the old cup is missing from each part in
// proportion, also from what is not taken. Nothing is taken by it.
func (m Mix) inNewCup(readingG float64, s Shifted) Mix {
	over := *m.Over
	kept := min(s.AfterG/s.BeforeG, 1)
	loose := kept * over.NotTakenG
	m.UndoneG *= kept
	m.Pours = slices.Clone(m.Pours)
	base := readingG - loose
	m.Pan = weigh.NewPan(readingG)
	m.Pan.BaseG = base
	for i := len(m.Pours) - 1; i >= 0; i-- {
		m.Pours[i].G *= kept
		base -= m.Pours[i].G
		m.Pours[i].BaseG = base
	}
	m.CupG = readingG - kept*s.BeforeG
	m.Recipe.CupEmptyG, m.Recipe.CupMaximumG = over.To.EmptyG, over.To.MaximumG
	if over.From == Ink && m.UndoneG == 0 { // the larger cup is for all this ink
		m.Recipe.InkTargetG = max(m.Recipe.InkTargetG, min(m.Poured().InkG+loose, MaximumG))
	}
	m.Step, m.Over = over.From, nil
	return m
}
