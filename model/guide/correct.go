package guide

import (
	"math"
	"slices"
	"strings"
	"time"

	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// NotTaken is what is on the scale and in no record yet.
type NotTaken struct {
	Step Step // the step at which it would be taken
	// Part is the part that a confirmation records it as. It is empty for the cup itself, in a
	// stir, and when MustName is set.
	Part mix.Part
	G    float64
	// MustName: it was undone. A confirmation must name its part.
	MustName bool
}

// NotTaken returns what a confirmation would take at a reading in g. While the base of the pan
// does not hold, the reading before that counts. ok is false when there is nothing: less than a
// division, or in a stir less than what counts as a pour ([weigh.RiseThreshold]).
func (m Mix) NotTaken(readingG float64) (n NotTaken, ok bool) {
	if m.ByHand || !m.Step.Pours() && !m.Step.Stirs() && m.Step != Cup {
		return NotTaken{}, false
	}
	if !m.Pan.Holds() {
		readingG = m.Pan.HeldG
	}
	n = NotTaken{Step: m.Step, Part: m.Expect(), G: m.Pan.PouredG(readingG), MustName: m.UndoneG > 0}
	if n.MustName {
		n.Part = ""
	}
	least := m.Recipe.DivisionG * (1 - 1e-6)
	if m.Step.Stirs() {
		least = weigh.RiseThreshold(m.Recipe.DivisionG)
	}
	return n, n.G >= least
}

// Take returns the mix after a person has said which part it is that was poured and is not
// taken yet. The statement is a fact, so no order is asked for: thinner that came too early is
// marked, and hardener before any ink is recorded. The mix then waits for what its step
// needs, or for what the pour has made necessary. c needs no step and no part. The error is a
// [*StepError]; a pour that counts as this part already is confirmed and not taken.
func (m Mix) Take(part mix.Part, c Confirm, now time.Time) (Mix, error) {
	was := m
	switch {
	case m.ByHand || !m.Step.Pours() && !m.Step.Stirs():
		return was, stepError(NothingPoured, "nothing-to-name", "step", m.Step)
	case !part.Valid():
		return was, stepError(UnknownPart, "no-such-part")
	case c.Aside:
		return was, stepError(NotOnScale, "set-aside-unnamed")
	case !c.Settled || math.IsNaN(c.WeightG) || math.Abs(c.WeightG) > MaximumG:
		return was, stepError(Unsettled, "not-settled-unnamed")
	}
	m, err := m.ready(c)
	if err != nil {
		return was, err
	}
	n, ok := m.NotTaken(c.WeightG)
	switch {
	case !ok:
		return was, stepError(NothingPoured, "all-taken")
	case part == n.Part && c.Material == "":
		return was, stepError(AsExpected, "as-expected", "part", part)
	}
	early := part == mix.Thinner && (m.Poured().HardenerG <= 0 || m.unstirredHardener())
	m = m.withPour(part, n.G, c, early, now)
	m.Pours[len(m.Pours)-1].Excused = false // nobody has accepted it
	m.ByBench = ""
	return m.advanced(now), nil
}

// Correct returns the mix after one of its pours, counted from 0, was re-labelled or undone. The
// mix goes back to the step that is open then. An undone pour is still in the cup: it counts as
// not taken, and must be named before anything is confirmed. Overrides that covered the pour
// end. The error is a [*StepError].
//
// Nothing else may be on the scale that is not taken when a pour is undone: two parts would
// become one weight, which no later answer can divide.
func (m Mix) Correct(pour int, part mix.Part, undo bool, now time.Time) (Mix, error) {
	if m.ByHand || pour < 0 || pour >= len(m.Pours) {
		return m, stepError(NothingToUndo, "nothing-to-correct")
	}
	if m.Step == PourOver {
		return m, stepError(WrongStep, "pour-over-first")
	}
	if undo == (part != "") || !undo && !part.Valid() {
		return m, stepError(UnknownPart, "part-or-undo")
	}
	p := m.Pours[pour]
	if !undo && part == p.Part {
		return m, stepError(NothingToUndo, "part-already", "part", part)
	}
	m.Overrides = slices.DeleteFunc(slices.Clone(m.Overrides), func(o Override) bool { return o.Pours > pour })
	m.Stirred = min(m.Stirred, pour)
	if p.Step != Thinner {
		m.Stirred = 0 // it is not certain what the hardener was stirred into
	}
	m.RestUntil, m.UnexplainedG, m.ByBench = time.Time{}, 0, ""
	m.Pours = slices.Clone(m.Pours)
	if undo {
		m.Pan.BaseG -= p.G
		if pour == len(m.Pours)-1 {
			m.Pan.BaseG = p.BaseG
		}
		m.UndoneG += p.G
		m.Pours = slices.Delete(m.Pours, pour, pour+1)
		m.Step = p.Step
		return m.enter(m.back(p.Step), now), nil
	}
	p.Part = part
	p.Can, p.Material, p.Kept = "", "", false // the can that was named holds something else
	p.Excused = false
	p.Early = part == mix.Thinner && p.Step != Thinner && p.Step != StirThinner
	m.Pours[pour] = p
	m.Step = p.Step
	return m.advanced(now), nil
}

// Of returns the mix after a person has said what one of its pours, counted from 0, really was: from which can,
// and which material where the recipe does not have that; both may be empty. The step stays: by its mass the pour
// counts as its part. A mix with a material that is not the recipe's goes on only after [Mix.Use]. The error is a
// [*StepError].
func (m Mix) Of(pour int, can, material string) (Mix, error) {
	if m.ByHand || pour < 0 || pour >= len(m.Pours) {
		return m, stepError(NothingToUndo, "nothing-to-correct")
	}
	p := m.Pours[pour]
	if p.Can == can && p.Material == material {
		return m, stepError(NothingToUndo, "part-already", "part", p.Part)
	}
	m.Pours = slices.Clone(m.Pours)
	m.Pours[pour].Can, m.Pours[pour].Material, m.Pours[pour].Kept = can, material, false
	m.ByBench = ""
	return m, nil
}

// Use returns the mix after a person has decided, for a reason, to use it although it has materials that are none
// of its recipe's. The error is a [*StepError]: there is none that nobody has decided about.
func (m Mix) Use(reason string) (Mix, error) {
	if _, open := m.foreign(); !open || strings.TrimSpace(reason) == "" {
		return m, stepError(NothingToUndo, "nothing-to-use")
	}
	m.Overrides = append(slices.Clip(m.Overrides), Override{Step: Cup, Reason: strings.TrimSpace(reason), Pours: len(m.Pours)})
	m.Pours = slices.Clone(m.Pours)
	for i := range m.Pours {
		m.Pours[i].Kept = m.Pours[i].Material != ""
	}
	return m, nil
}

// back returns the step of a mix after a pour was undone: the step that the pour confirmed, or
// an earlier one where something is missing now.
func (m Mix) back(confirmedAt Step) Step {
	open := m.step()
	if slices.Index(steps(), open) < slices.Index(steps(), confirmedAt) {
		return open
	}
	return confirmedAt
}
