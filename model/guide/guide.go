// Package guide leads a person through a mix, step by step: cup, ink, hardener, stir, thinner,
// stir, rest, load. It is a state machine on an immutable value: each change returns a new [Mix]
// and leaves the old one unchanged, or returns an error with a reason. It has no clock; instants
// are arguments. A Mix is unchanged by writing it as JSON and reading it.
//
// The order is fixed because the chemistry needs it. The mass of hardener is calculated from the
// ink that is really in the cup. Thinner that meets hardener which is not stirred in shocks it
// and shortens its life.
package guide

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// Step is the step that the mix waits for.
type Step string

// The steps in order, by their names on the wire.
const (
	Cup          Step = "cup"
	Ink          Step = "ink"
	Hardener     Step = "hardener"
	StirHardener Step = "stir-hardener"
	Thinner      Step = "thinner"
	StirThinner  Step = "stir-thinner"
	Rest         Step = "rest"
	Load         Step = "load"
)

// steps returns all steps in order.
func steps() []Step {
	return []Step{Cup, Ink, Hardener, StirHardener, Thinner, StirThinner, Rest, Load}
}

// Recipe holds the targets and limits of a mix. Percentages of thinner are of ink and hardener
// together. A range of 0 to 0 means that the mix has no thinner; its steps are then left out.
type Recipe struct {
	Ratio         mix.Ratio     `json:"ratio" doc:"mass of ink to mass of hardener, such as 5:1"`
	TolerancePct  float64       `json:"tolerance_pct" doc:"permitted deviation of the ratio in %"`
	InkTargetG    float64       `json:"ink_target_g" doc:"target mass of ink in g"`
	InkMinimumG   float64       `json:"ink_minimum_g,omitempty" doc:"least mass of ink for the cup, in g"`
	ThinnerPct    float64       `json:"thinner_pct" doc:"thinner in % of ink and hardener together"`
	ThinnerMinPct float64       `json:"thinner_min_pct" doc:"least thinner in % of ink and hardener together"`
	ThinnerMaxPct float64       `json:"thinner_max_pct" doc:"most thinner in % of ink and hardener together"`
	Rest          time.Duration `json:"rest_ns,omitempty" doc:"rest before printing"`
	CupMaximumG   float64       `json:"cup_maximum_g,omitempty" doc:"largest mass of the finished mix in g; absent for no limit"` // of the finished mix; 0 for no limit
	CupEmptyG     float64       `json:"cup_empty_g,omitempty" doc:"weight of the empty cup in g; absent when it is not known"`    // 0 when it is not known
	DivisionG     float64       `json:"division_g" doc:"smallest step of the scale's display in g"`
	// Stir is for how long the cup must be off the scale to count as stirred without a
	// confirmation; 0 for never.
	Stir time.Duration `json:"stir_ns,omitempty" doc:"time off the scale after which a cup that comes back counts as stirred; absent for never"`
}

// check returns nil when the recipe can be used. Otherwise the error names every figure that is
// out of range.
func (r Recipe) check() error {
	var faults []error
	fault := func(ok bool, format string, args ...any) {
		if !ok {
			faults = append(faults, fmt.Errorf(format, args...))
		}
	}
	within := func(x, low, high float64) bool { return x >= low && x <= high }
	fault(r.Ratio.Valid(), "ratio %v is out of range", float64(r.Ratio))
	fault(r.TolerancePct > 0 && r.TolerancePct < 100, "tolerance of %v %% must lie between 0 and 100", r.TolerancePct)
	fault(r.InkTargetG > 0 && r.InkTargetG <= MaximumG, "%v g of ink must be above 0 and at most %v g", r.InkTargetG, MaximumG)
	fault(within(r.InkMinimumG, 0, MaximumG), "a minimum of %v g of ink is out of range", r.InkMinimumG)
	fault(within(r.ThinnerMinPct, 0, r.ThinnerMaxPct) && r.ThinnerMaxPct <= 100,
		"thinner from %v to %v %% is not a range within 0 to 100", r.ThinnerMinPct, r.ThinnerMaxPct)
	fault(within(r.ThinnerPct, r.ThinnerMinPct, r.ThinnerMaxPct),
		"thinner of %v %% is outside the ink's range, %v to %v %%", r.ThinnerPct, r.ThinnerMinPct, r.ThinnerMaxPct)
	fault(r.Rest >= 0, "a rest of %v is below zero", r.Rest)
	fault(r.Stir >= 0, "a stirring time of %v is below zero", r.Stir)
	fault(within(r.CupMaximumG, 0, MaximumG), "a cup of %v g is out of range", r.CupMaximumG)
	fault(within(r.CupEmptyG, 0, MaximumG), "an empty cup of %v g is out of range", r.CupEmptyG)
	fault(r.DivisionG > 0 && r.DivisionG <= 1000, "a division of %v g is out of range", r.DivisionG)
	return errors.Join(faults...)
}

// MaximumG is the largest mass in g that is accepted. It is more than any bench scale carries.
const MaximumG = 100_000

// MinimumG is the smallest mass in g that is accepted as poured. It is below what a bench scale
// shows, and large enough for every ratio of two masses to be finite.
const MinimumG = 0.01

func (r Recipe) limits() mix.Limits {
	return mix.Limits{
		Ratio: r.Ratio, TolerancePct: r.TolerancePct,
		ThinnerPct: r.ThinnerPct, ThinnerMinPct: r.ThinnerMinPct, ThinnerMaxPct: r.ThinnerMaxPct,
		DivisionG: r.DivisionG, CupMaximumG: r.CupMaximumG,
	}
}

// needInkG returns the least mass of ink in g with which the mix may go on, apart from a
// division.
func (r Recipe) needInkG() float64 { return math.Min(r.InkTargetG, r.InkMinimumG) }

// thinned reports whether the recipe has thinner.
func (r Recipe) thinned() bool { return r.ThinnerMaxPct > 0 }

// Pour is one confirmed weighing.
type Pour struct {
	Part mix.Part `json:"part" doc:"ink, hardener or thinner"`
	G    float64  `json:"g" doc:"mass in g"`
	// Step is the step that the pour confirmed. The mix returns to it if the pour is undone.
	Step Step `json:"step" doc:"the step that the pour confirmed"`
	// BaseG is the reading in g before it, on the present zero of the scale.
	BaseG float64 `json:"base_g" doc:"reading before the pour in g, from the scale's present zero"`
	// RoseAt is when the weight first rose for it, or the time of the confirmation if no rise
	// was seen.
	RoseAt time.Time `json:"rose_at" doc:"when the weight first rose for the pour, or when it was confirmed"`
	// Early: thinner that met hardener which was not stirred in, or that came before any
	// hardener.
	Early bool `json:"early,omitempty" doc:"thinner was poured before hardener was stirred in"`
	// Excused: a person has accepted that.
	Excused bool `json:"excused,omitempty" doc:"a person has accepted that"`
	// Can is the can that it came from; empty when nobody named one.
	Can string `json:"can,omitempty" doc:"id of the can that it came from"`
	// Material is what it was, by its id, when that is none of the recipe's: another ink, hardener or
	// thinner. It counts by its mass as its part.
	Material string `json:"material,omitempty" doc:"id of the ink, hardener or thinner that it was, when the recipe does not have that; absent for the recipe's own"`
	// Kept: a person has decided to use the mix with it.
	Kept bool `json:"kept,omitempty" doc:"a person has decided to use the mix with this material"`
	// Seq is the number of the event that recorded the pour, by which a correction names it; 0
	// until the event has its number.
	Seq uint64 `json:"seq,omitempty" doc:"number of the event that recorded the pour"`
}

// Override is a person's statement that a fault is accepted. Step is the step whose condition is
// waived; for the order of the parts it is [StirHardener].
type Override struct {
	Step   Step   `json:"step" doc:"the step whose requirement is set aside"`
	Reason string `json:"reason" doc:"why"`
	// Pours is how many pours there were. The override of a ratio does not cover ink or hardener
	// that is poured later.
	Pours int `json:"pours" doc:"number of pours at that time; later pours are not covered"`
}

// Mix is a guided mix at one moment. It is copied by value; its slices are never changed in
// place.
type Mix struct {
	Recipe    Recipe     `json:"recipe" doc:"the recipe"`
	Step      Step       `json:"step" doc:"the step that the mix waits at"`
	Pan       weigh.Pan  `json:"pan" doc:"what is known of the scale's pan"`
	Pours     []Pour     `json:"pours,omitempty" doc:"the confirmed pours in order"`
	Overrides []Override `json:"overrides,omitempty" doc:"requirements that a person has set aside"`
	// CupG is the reading in g at which the cup was confirmed.
	CupG float64 `json:"cup_g,omitempty" doc:"reading in g at which the cup was confirmed"`
	// Stirred is how many of the pours have been stirred in.
	Stirred int `json:"stirred,omitempty" doc:"number of pours that are stirred in"`
	// RestUntil is set once the rest has begun.
	RestUntil time.Time `json:"rest_until,omitzero" doc:"end of the rest"`
	// UnexplainedG is by how many g the weight rose before the last stir without a pour.
	UnexplainedG float64 `json:"unexplained_g,omitempty" doc:"rise of the weight in g before the last stir that belongs to no pour"`
	// UndoneG is the mass in g of an undone pour. It is in the cup and counts as not taken, and
	// a person must name its part before anything is confirmed; see [Mix.NotTaken].
	UndoneG float64 `json:"undone_g,omitempty" doc:"mass in g of an undone pour that is in the cup and must be named"`
	// ByBench is the step that was confirmed last, if no person but the bench confirmed it.
	ByBench Step `json:"by_bench,omitempty" doc:"the step confirmed last, when the bench confirmed it by itself"`
	// Over is set in the step [PourOver] only.
	Over *PouringOver `json:"over,omitempty" doc:"what is being poured into another cup; absent at other steps than pour-over"`
	// ByHand: the mix was recorded afterwards and not guided.
	ByHand bool `json:"by_hand,omitempty" doc:"recorded after it was mixed, not guided"`
}

// Start returns a new mix. The error is that of [Recipe.Check].
func Start(r Recipe) (Mix, error) {
	if err := r.check(); err != nil {
		return Mix{}, err
	}
	return Mix{Recipe: r, Step: Cup}, nil
}

// Recorded returns a mix that was made without the guide. Its order is not known and is assumed
// to be right. Its ratio is checked, see [Mix.FaultOpen]. It returns an error for a recipe or a
// mass that is out of range, and for a mix without ink or hardener.
func Recorded(r Recipe, parts mix.Amounts, mixedAt, now time.Time) (Mix, error) {
	if err := r.check(); err != nil {
		return Mix{}, err
	}
	m := Mix{Recipe: r, Step: Load, ByHand: true}
	for _, part := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
		g := parts.Of(part)
		if !(g >= 0 && g <= MaximumG) {
			return Mix{}, fmt.Errorf("%v g of %s is out of range", g, part)
		}
		if g == 0 && part != mix.Thinner {
			return Mix{}, fmt.Errorf("a mix without %s is none", part)
		}
		if g > 0 {
			m.Pours = append(m.Pours, Pour{Part: part, G: g, Step: Load, RoseAt: mixedAt})
		}
	}
	m.Stirred = len(m.Pours)
	if until := mixedAt.Add(r.Rest); until.After(now) {
		m.Step, m.RestUntil = Rest, until
	}
	return m, nil
}

// Weighed returns the mix with the pan that a [weigh.Tracker] returned for a reading. When the
// zero moved, the stored bases move with it.
func (m Mix) Weighed(p weigh.Pan) Mix {
	if shift := p.BaseG - m.Pan.BaseG; shift != 0 {
		m.Pours = slices.Clone(m.Pours)
		for i := range m.Pours {
			m.Pours[i].BaseG += shift
		}
	}
	m.Pan = p
	return m
}

// Tick returns the mix at a moment: a rest whose time is over ends.
func (m Mix) Tick(now time.Time) Mix {
	if m.Step == Rest && !now.Before(m.RestUntil) {
		m.Step = Load
	}
	return m
}

// Poured returns the sum of all pours in g.
func (m Mix) Poured() mix.Amounts {
	var a mix.Amounts
	for _, p := range m.Pours {
		a = a.Plus(p.Part, p.G)
	}
	return a
}

// FirstHardener returns when the first hardener met the ink. ok is false until it is confirmed.
func (m Mix) FirstHardener() (at time.Time, ok bool) {
	for _, p := range m.Pours {
		if p.Part == mix.Hardener && (!ok || p.RoseAt.Before(at)) {
			at, ok = p.RoseAt, true
		}
	}
	return at, ok
}
