package guide

import (
	"slices"
	"time"

	"potlifed/model/mix"
)

// step returns the first step whose condition is not met. It determines the order: every
// accepted change ends with it.
func (m Mix) step() Step {
	poured := m.Poured()
	switch {
	case poured.InkG <= 0 || m.inkShort(poured):
		return Ink
	case poured.HardenerG <= 0 || m.ratioOff(poured) && !m.ratioOverridden():
		return Hardener
	case m.unstirredHardener():
		return StirHardener
	case !m.thinnerDone(poured):
		return Thinner
	}
	return m.stepAfterThinner()
}

func (m Mix) stepAfterThinner() Step {
	switch {
	case len(m.Pours) > m.Stirred:
		return StirThinner
	case m.Recipe.Rest > 0:
		return Rest
	}
	return Load
}

// unstirredHardener reports whether ink or hardener was poured since the last stir.
func (m Mix) unstirredHardener() bool {
	for _, p := range m.Pours[min(m.Stirred, len(m.Pours)):] {
		if p.Part != mix.Thinner {
			return true
		}
	}
	return false
}

// thinnerDone reports whether the thinner needs no more: there is none to pour, or its step was
// confirmed and the thinner is in range, or a person said to go on.
func (m Mix) thinnerDone(poured mix.Amounts) bool {
	if !m.Recipe.thinned() && poured.ThinnerG <= 0 || m.overridden(Thinner) {
		return true
	}
	reached := slices.ContainsFunc(m.Pours, func(p Pour) bool { return p.Step == Thinner })
	return reached && m.limitsKept(poured)
}

func (m Mix) limitsKept(poured mix.Amounts) bool {
	return m.Recipe.limits().ThinnerInRange(poured)
}

// advanced returns the mix at the first step whose condition is not met.
func (m Mix) advanced(now time.Time) Mix { return m.enter(m.step(), now) }

// enter returns the mix at a step. A rest begins when it is entered.
func (m Mix) enter(s Step, now time.Time) Mix {
	if s == Rest && m.Step != Rest {
		m.RestUntil = now.Add(m.Recipe.Rest)
	}
	m.Step = s
	return m
}

// Correct returns the mix after its last pour was re-labelled, or undone. The mix goes back to
// the step that is open then. An undone pour is still in the cup: its base is restored, so that
// it can be confirmed again as another part. Overrides that covered the pour end. The error is a
// [*StepError].
func (m Mix) Correct(part mix.Part, undo bool, now time.Time) (Mix, error) {
	n := len(m.Pours)
	if n == 0 || m.ByHand {
		return m, stepError(NothingToUndo, "There is no confirmed pour to correct.")
	}
	if undo == (part != "") || !undo && !part.Valid() {
		return m, stepError(UnknownPart, "Say either which part the last pour was (ink, hardener or thinner), or that it is undone.")
	}
	last := m.Pours[n-1]
	if !undo && part == last.Part {
		return m, stepError(NothingToUndo, "The last pour is %s already.", part)
	}
	m.Overrides = slices.DeleteFunc(slices.Clone(m.Overrides), func(o Override) bool { return o.Pours >= n })
	m.Stirred = min(m.Stirred, n-1)
	if last.Step != Thinner {
		m.Stirred = 0 // it is not certain what the hardener was stirred into
	}
	m.RestUntil, m.UnexplainedG = time.Time{}, 0
	m.Pours = slices.Clone(m.Pours[:n-1])
	if undo {
		m.Pan.BaseG = last.BaseG
		m.Step = last.Step
		return m.enter(m.back(last.Step), now), nil
	}
	last.Part = part
	last.Can = "" // the can that was named holds something else
	last.Excused = false
	last.Early = part == mix.Thinner && last.Step != Thinner
	m.Pours = append(m.Pours, last)
	m.Step = last.Step
	return m.advanced(now), nil
}

// back returns the step of a mix after a pour was undone: the step that the pour confirmed, or
// an earlier one where something is missing now.
func (m Mix) back(confirmedAt Step) Step {
	open := m.step()
	if slices.Index(Steps(), open) < slices.Index(Steps(), confirmedAt) {
		return open
	}
	return confirmedAt
}
