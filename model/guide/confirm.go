package guide

import (
	"math"
	"slices"
	"strings"
	"time"

	"potlifed/model/message"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// The codes of a [StepError].
const (
	WrongStep     = "wrong-step"     // the mix waits for another step
	Unsettled     = "unsettled"      // no weight, or one that still moves
	NothingPoured = "nothing-poured" // the weight has not risen by a division
	AmbiguousTare = "ambiguous"      // it is not known whether the scale was tared or the cup lifted; see [Confirm.Tared]
	CupAway       = "cup-away"       // the cup is not on the scale
	TooEarly      = "too-early"      // the rest is not over
	WrongOrder    = "order"          // the parts must be poured in another order
	NotConfirmed  = "not-confirmed"  // loading a batch is a change of its own and is not confirmed
	NotOnScale    = "not-on-scale"   // another cup is on the scale; see aside.go
	TooMuch       = "too-much"       // far more ink than the recipe asks for, or than fits the cup; see [Confirm.Override]
	NotNamed      = "not-named"      // an undone pour is in the cup and its part was not named; see [Confirm.Part]
	AsExpected    = "as-expected"    // what was poured counts as this part already
	NothingToUndo = "nothing-to-undo"
	UnknownPart   = "unknown-part"
	OtherContent  = "other-content" // the new cup weighs more than it can with what was in the old one
	LostOver      = "lost-over"     // much less is in the new cup than was in the old one; see [Confirm.Override]
	Contaminated  = "contaminated"  // a material of another recipe is in the mix, and nobody has decided to use it
)

// StepError says why a step cannot be confirmed, or a pour corrected, at the moment.
type StepError struct {
	Code    string
	Message message.Message // for the person at the bench
}

// Error returns the code and the key of the message.
func (r *StepError) Error() string { return r.Code + ": " + r.Message.Key }

func stepError(code, key string, values ...any) *StepError {
	return &StepError{Code: code, Message: message.New(key, values...)}
}

// Confirm is a person's confirmation that a step is done.
type Confirm struct {
	Step    Step
	WeightG float64 // the reading of the scale, in g
	Settled bool
	// Override is the reason to go on in spite of a fault; empty when there is none.
	Override string
	// Part is the part that the pour counts as; empty for the expected one.
	Part mix.Part
	// Tared answers the question of [AmbiguousTare]: true when a key changed the reading, false
	// when the cup was only lifted.
	Tared *bool
	// RoseAt is when the weight rose for this pour; zero if no rise was seen.
	RoseAt time.Time
	// Can is the can that the pour came from; empty when nobody named one.
	Can string
	// Material is what the pour was, when the recipe does not have that; for [Mix.Take] only.
	Material string
	// SetDown: what the scale shows was set down on an empty pan that showed zero. The weight of a new
	// cup is taken only then; see [PourOver].
	SetDown bool
	// Lifted: the pan was about empty since the pour-over began. Until then the old cup stands there.
	Lifted bool
	// Aside: the mix is not the one that is weighed on its scale. Only steps that need no weight
	// can be confirmed then.
	Aside bool
	// ByBench: no person but the bench confirms, by what the scale shows.
	ByBench bool
}

// Outcome is the result of an accepted confirmation.
type Outcome struct {
	Pour     Pour // HasPour reports whether there was one
	HasPour  bool
	Advanced bool // the step changed
	// Corrections are what to add when the step is not complete.
	Corrections []mix.Correction
	Overridden  bool
}

// Confirm returns the mix after a step was confirmed at its settled weight. The error is a
// [*StepError], and the mix is then unchanged. A pour out of tolerance is not an error: the step
// stays, and the outcome has corrections.
func (m Mix) Confirm(c Confirm, now time.Time) (Mix, Outcome, error) {
	next, pour, err := m.confirmed(c, now)
	if err != nil {
		return m, Outcome{}, err
	}
	next.ByBench = ""
	if c.ByBench {
		next.ByBench = m.Step
	}
	out := Outcome{Advanced: next.Step != m.Step, Overridden: len(next.Overrides) > len(m.Overrides)}
	if pour {
		out.Pour, out.HasPour = next.Pours[len(next.Pours)-1], true
	}
	if !out.Advanced {
		out.Corrections = next.Corrections()
	}
	return next, out, nil
}

func (m Mix) confirmed(c Confirm, now time.Time) (next Mix, pour bool, err error) {
	c.Override = strings.TrimSpace(c.Override)
	if c.Step != m.Step {
		return m, false, m.otherStep(c.Step)
	}
	if c.Part != "" && !c.Part.Valid() {
		return m, false, stepError(UnknownPart, "no-such-part")
	}
	if p, open := m.foreign(); open && m.Step != Load {
		return m, false, stepError(Contaminated, "contaminated", "mass_g", p.G, "material", p.Material)
	}
	switch m.Step {
	case Rest:
		next, err = m.confirmRest(c, now)
		return next, false, err
	case Load:
		next, err = m.confirmLoad(c)
		return next, false, err
	}
	if c.Aside && !m.Step.Stirs() {
		return m, false, stepError(NotOnScale, "set-aside")
	}
	if c.Aside {
		return m.stirredAside(c, now)
	}
	if !c.Settled || math.IsNaN(c.WeightG) || math.Abs(c.WeightG) > MaximumG {
		return m, false, stepError(Unsettled, "not-settled")
	}
	switch m.Step {
	case Cup:
		next, err = m.confirmCup(c)
		return next, false, err
	case PourOver:
		next, err = m.confirmOver(c)
		return next, false, err
	case StirHardener, StirThinner:
		return m.confirmStir(c, now)
	}
	return m.confirmPour(c, now)
}

// otherStep returns the error for a step that the mix does not wait for.
func (m Mix) otherStep(asked Step) error {
	if asked == Thinner && (m.Step == Ink || m.Step == Hardener || m.Step == StirHardener) {
		return stepError(WrongOrder, "stir-first")
	}
	if m.Step == Load {
		return stepError(WrongStep, "ready-to-load")
	}
	return stepError(WrongStep, "other-step", "step", m.Step)
}

func (m Mix) confirmCup(c Confirm) (Mix, error) {
	if c.WeightG < -m.Recipe.DivisionG {
		return m, stepError(CupAway, "below-zero")
	}
	m.CupG, m.Pan = c.WeightG, weigh.NewPan(c.WeightG)
	m.Pan.CupTared = math.Abs(c.WeightG) <= m.Recipe.DivisionG
	return m.advanced(time.Time{}), nil
}

func (m Mix) confirmRest(c Confirm, now time.Time) (Mix, error) {
	if left := m.RestUntil.Sub(now); left > 0 {
		if c.Override == "" {
			return m, stepError(TooEarly, "still-rests", "left", left)
		}
		m = m.override(Rest, c.Override)
	}
	m.Step = Load
	return m, nil
}

// confirmLoad accepts a fault of a mix that is otherwise done. A mix recorded by hand has no
// other step at which a fault can be accepted.
func (m Mix) confirmLoad(c Confirm) (Mix, error) {
	if c.Override == "" || !m.FaultOpen() {
		return m, stepError(NotConfirmed, "load-it")
	}
	return m.override(Load, c.Override), nil
}

// ready settles what is open about the pan before its base is used.
func (m Mix) ready(c Confirm) (Mix, error) {
	open := m.Pan.State == weigh.PanZeroed || m.Pan.State == weigh.PanAsked
	if open && c.Tared != nil {
		return m.answered(*c.Tared), nil
	}
	switch {
	case m.Pan.State == weigh.PanAsked, m.Pan.State == weigh.PanZeroed && c.WeightG > m.Recipe.DivisionG:
		return m, stepError(AmbiguousTare, "tared-or-lifted", "before_g", m.Pan.HeldG)
	case m.Pan.State == weigh.PanZeroed:
		return m, stepError(NothingPoured, "shows-zero")
	case m.Pan.State == weigh.PanAway:
		return m, stepError(CupAway, "cup-away")
	}
	return m, nil
}

// answered returns the mix after a person has answered an open question about the scale without
// confirming a step; see [Confirm.Tared].
func (m Mix) answered(tared bool) Mix { return m.Weighed(m.Pan.Answered(tared)) }

// confirmPour takes the weight above the base as a pour of one part.
func (m Mix) confirmPour(c Confirm, now time.Time) (next Mix, pour bool, err error) {
	if m, err = m.ready(c); err != nil {
		return m, false, err
	}
	part := c.Part
	if part == "" {
		part = m.Expect()
	}
	grams := m.Pan.PouredG(c.WeightG)
	if grams < m.Recipe.DivisionG*(1-1e-6) {
		next, err = m.withoutPour(c, part, grams, now)
		return next, false, err
	}
	if m.UndoneG > 0 && c.Part == "" {
		return m, false, m.notNamed(grams)
	}
	early, err := m.orderOf(part, c.Override)
	if err != nil {
		return m, false, err
	}
	tooMuch := m.tooMuch(part, grams)
	if tooMuch && c.Override == "" {
		return m, false, m.tooMuchInk(grams)
	}
	m = m.withPour(part, grams, c, early, now)
	switch {
	case tooMuch:
		m = m.override(Ink, c.Override)
	case early:
		m = m.override(StirHardener, c.Override)
	case m.step() == m.Step && c.Override != "":
		m = m.override(m.Step, c.Override)
	}
	return m.advanced(now), true, nil
}

// withPour adds a pour. The next pour begins at this reading.
func (m Mix) withPour(part mix.Part, grams float64, c Confirm, early bool, now time.Time) Mix {
	rose := c.RoseAt
	if rose.IsZero() || rose.After(now) {
		rose = now
	}
	m.Pours = append(slices.Clip(m.Pours), Pour{
		Part: part, G: grams, Step: m.Step, BaseG: m.Pan.BaseG, RoseAt: rose, Early: early, Excused: early, Can: c.Can, Material: c.Material,
	})
	m.Pan, m.UndoneG = m.Pan.Next(c.WeightG), 0
	return m
}

// notNamed is the error of a confirmation that would take an undone pour for the part that the
// step asks for.
func (m Mix) notNamed(grams float64) error {
	return stepError(NotNamed, "not-named", "in_cup_g", grams)
}

// withoutPour goes on without a pour: when what is there is enough, when the mix may have no
// thinner, or when a person gives a reason. It never goes on without ink or hardener.
func (m Mix) withoutPour(c Confirm, part mix.Part, grams float64, now time.Time) (Mix, error) {
	if grams < -2*m.Recipe.DivisionG {
		return m, stepError(NothingPoured, "less-than-before", "less_g", -grams)
	}
	m.UndoneG = 0 // it was taken out of the cup
	poured := m.Poured()
	if m.Step == Thinner {
		if m.limitsKept(poured) {
			return m.enter(m.stepAfterThinner(), now), nil
		}
	} else if m.step() != m.Step {
		return m.advanced(now), nil
	}
	if m.step() == m.Step && c.Override != "" && (m.Step == Thinner || poured.Of(mix.Part(m.Step)) > 0) {
		return m.override(m.Step, c.Override).advanced(now), nil
	}
	return m, stepError(NothingPoured, "nothing-poured", "part", part)
}

// orderOf returns an error for a part that must not be poured yet. Thinner may come early only
// with a person's reason, and is then marked.
func (m Mix) orderOf(part mix.Part, override string) (early bool, err error) {
	switch {
	case part == mix.Thinner && (m.Step != Thinner || m.unstirredHardener()):
		if override == "" {
			return false, stepError(WrongOrder, "hardener-first")
		}
		return true, nil
	case part == mix.Hardener && m.Step == Ink:
		return false, stepError(WrongOrder, "ink-first")
	}
	return false, nil
}

// confirmStir notes that all that was poured is stirred in. The cup may be anywhere. If it is on
// the scale as before, its weight is the next base.
func (m Mix) confirmStir(c Confirm, now time.Time) (next Mix, pour bool, err error) {
	if m.Pan.State == weigh.PanAsked || m.Pan.State == weigh.PanZeroed && c.Tared != nil {
		if m, err = m.ready(c); err != nil {
			return m, false, err
		}
	}
	m.UnexplainedG = 0
	if m.Pan.Holds() {
		rise := m.Pan.PouredG(c.WeightG)
		switch {
		case m.UndoneG > 0 && rise > weigh.RiseThreshold(m.Recipe.DivisionG):
			return m, false, m.notNamed(rise)
		case rise > weigh.RiseThreshold(m.Recipe.DivisionG) && m.Step == StirHardener:
			if c.Override == "" {
				return m, false, stepError(WrongOrder, "rose-before-stirring", "rise_g", rise)
			}
			m = m.withPour(mix.Thinner, rise, c, true, now)
			pour = true
		case rise > weigh.RiseThreshold(m.Recipe.DivisionG):
			m.UnexplainedG = rise
			m.Pan = m.Pan.Next(c.WeightG)
		case rise >= -weigh.Clinging(m.Poured().TotalG(), m.Recipe.DivisionG):
			m.Pan = m.Pan.Next(c.WeightG)
		}
	}
	if m.Step == StirHardener && m.orderOpen() && c.Override == "" {
		return m, false, m.earlyThinner()
	}
	if pour || m.orderOpen() && c.Override != "" {
		m = m.override(StirHardener, c.Override)
	}
	m.Stirred = len(m.Pours)
	return m.advanced(now), pour, nil
}

// stirredAside notes that all that was poured is stirred in, for a mix whose cup is not on the
// scale. What was poured meanwhile is seen when the cup comes back.
func (m Mix) stirredAside(c Confirm, now time.Time) (next Mix, pour bool, err error) {
	if m.Step == StirHardener && m.orderOpen() {
		if c.Override == "" {
			return m, false, m.earlyThinner()
		}
		m = m.override(StirHardener, c.Override)
	}
	m.UnexplainedG = 0
	m.Stirred = len(m.Pours)
	return m.advanced(now), false, nil
}

func (m Mix) earlyThinner() error {
	return stepError(WrongOrder, "thinner-too-early")
}

// override records a person's reason for a step. It also accepts the thinner that came early so far, and at
// the load what the recipe does not have: no other step is confirmed before that is accepted.
func (m Mix) override(about Step, reason string) Mix {
	m.Overrides = append(slices.Clip(m.Overrides), Override{Step: about, Reason: reason, Pours: len(m.Pours)})
	m.Pours = slices.Clone(m.Pours)
	for i := range m.Pours {
		m.Pours[i].Excused = m.Pours[i].Early
		m.Pours[i].Kept = m.Pours[i].Material != ""
	}
	return m
}
