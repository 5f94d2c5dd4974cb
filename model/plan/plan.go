// Package plan calculates how many mixes a print run takes, how large each is, when it begins,
// and what is left over.
//
// It minimises the waste first, which is everything that is mixed and not printed, and then the
// number of mixes. These conditions are kept: the prints are made; each mix goes into one cup on
// one press and is printed before the earliest end of its pot life; its size is between the
// cup's minimum and maximum; the bench makes one mix at a time.
//
// All mixes of a plan print the same number, to one print, so that one recipe serves the whole
// run. Where the life is the same for every mix, no plan of unequal mixes has less waste or
// fewer mixes. A mix of n prints takes f(n) = max(minimum, n·grams + residue). This is convex,
// so for a given number of mixes equal shares have the least sum. One mix more never needs less:
// its n prints, given to the other mixes, cost them at most n·grams, which is less than the f(n)
// saved. The fewest mixes that can be printed in time therefore also have the least waste. Where
// the life depends on when a mix begins, this holds among plans of equal mixes. A plan that
// fills a cup fuller in the cool of the evening could be better; the package does not look for
// it.
//
// Masses are in g of finished mix. Times count from the beginning of the first mix. The package
// has no clock.
package plan

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// mostMixes is the largest number of mixes in a plan. A run that takes more lasts for many days.
const mostMixes = 1000

// mostPresses and mostPrints are the limits of a run.
const (
	mostPresses = 100
	mostPrints  = 100_000_000
)

// rounding is what binary fractions may add to a limit that is met exactly in decimal.
const rounding = 1e-9

// Run describes what is to be printed, and with what.
type Run struct {
	Prints        int
	GramsPerPrint float64 // of finished mix, with what stays in the process
	Presses       int     // all alike, each with its own cup
	PrintsPerHour float64 // of each press
	CupMinimumG   float64 // the smallest mix that the cup is made for
	CupMaximumG   float64
	ResidueG      float64 // of each mix, what cannot be printed: the rest at the ring of the cup and on the stirrer
	MixingTakes   time.Duration
	Rest          time.Duration
	// Low returns the earliest end of the pot life of a mix, counted from its first hardener.
	// Its argument is the time from the beginning of the first mix to that hardener. It is
	// called about once for each mix of each number of mixes that is tried.
	Low func(begun time.Duration) time.Duration
}

// Fixed returns a Low for a life that does not depend on when the mix is made.
func Fixed(low time.Duration) func(time.Duration) time.Duration {
	return func(time.Duration) time.Duration { return low }
}

// GramsPerPrint returns the mass of mix on one print in g, from the image area in cm², the
// thickness of the wet film in µm and the density in g/cm³.
func GramsPerPrint(areaCM2, filmUM, densityGCM3 float64) float64 {
	const cmPerUM = 1e-4
	return areaCM2 * filmUM * cmPerUM * densityGCM3
}

// valid returns nil when the figures of the run can be planned with. Otherwise the error names
// all figures that are out of range.
func (r Run) valid() error {
	var faults []error
	check := func(ok bool, format string, args ...any) {
		if !ok {
			faults = append(faults, fmt.Errorf(format, args...))
		}
	}
	const mostG = 1e6
	check(r.Prints >= 1 && r.Prints <= mostPrints, "%d prints: want 1 to %d", r.Prints, mostPrints)
	check(r.GramsPerPrint >= 1e-6 && r.GramsPerPrint <= mostG, "%v g a print: want 0.000001 to 1000000", r.GramsPerPrint)
	check(r.Presses >= 1 && r.Presses <= mostPresses, "%d presses: want 1 to %d", r.Presses, mostPresses)
	check(r.PrintsPerHour >= 0.01 && r.PrintsPerHour <= 1e6, "%v prints an hour: want 0.01 to 1000000", r.PrintsPerHour)
	check(r.CupMaximumG > 0 && r.CupMaximumG <= mostG, "a cup that takes %v g: want above 0 and at most 1000000", r.CupMaximumG)
	check(r.CupMinimumG >= 0 && !(r.CupMinimumG > r.CupMaximumG*(1+rounding)), "a cup's minimum of %.4g g of mix: want 0 to what it takes, %.4g g",
		r.CupMinimumG, r.CupMaximumG)
	check(r.ResidueG >= 0 && r.ResidueG < r.CupMaximumG, "a residue of %v g: want 0 to less than the cup takes, %.4g g", r.ResidueG, r.CupMaximumG)
	check(r.MixingTakes >= 0 && r.MixingTakes <= 100*time.Hour, "mixing takes %v: want 0 to 100h", r.MixingTakes)
	check(r.Rest >= 0 && r.Rest <= 100*time.Hour, "a rest of %v: want 0 to 100h", r.Rest)
	check(r.Low != nil, "no life")
	return errors.Join(faults...)
}

// ErrImpossible means that no number of mixes meets the conditions of this run.
var ErrImpossible = errors.New("this run cannot be planned")

// Mix is one mix of a plan.
type Mix struct {
	Press  int // 1 …
	Prints int
	SizeG  float64
	LeftG  float64 // not printed
	// Begun is when mixing begins. The first hardener counts as poured at that moment already,
	// which is the safe side. PrintFrom is when the mix is mixed and rested, UsedUp when the
	// last of its prints is made, LowAt when its pot life may be over.
	Begun, PrintFrom, UsedUp, LowAt time.Duration
}

// Cause is why something is left over.
type Cause string

// The causes.
const (
	NoWaste      Cause = "nothing-left" // everything is printed
	OnlyResidue  Cause = "residue"      // only what cannot be printed
	BecauseLife  Cause = "life"         // mixes with a longer life would leave less, see LeftForLifeG
	BecauseOfRun Cause = "run"          // the run does not fill its cups to the minimum
)

// Plan is the result of [For].
type Plan struct {
	Mixes    []Mix
	MixedG   float64
	PrintedG float64
	LeftG    float64
	Cause    Cause // of LeftG
	// LeftForLifeG is the part of LeftG in g that would not be left if the pot life never ended:
	// a cup's minimum that cannot be printed in time, and the mixes that are needed beyond those
	// that fill a cup.
	LeftForLifeG float64
	Finish       time.Duration // the last print
	// Spare is the least time between the last print of any mix and the earliest end of its pot
	// life.
	Spare time.Duration
	// Waits is how long presses that have begun must wait for a mix, as a sum over all presses.
	Waits time.Duration
	// Faster are plans with more mixes that end earlier, each earlier than the one before.
	Faster []Faster
}

// Faster is the result for another number of mixes.
type Faster struct {
	Mixes  int
	LeftG  float64
	Finish time.Duration
}

// For returns the plan of a run. An error that wraps ErrImpossible names the condition that no
// plan meets. Any other error names the figures that are out of range.
func For(r Run) (Plan, error) {
	if err := r.valid(); err != nil {
		return Plan{}, fmt.Errorf("plan: %w", err)
	}
	fill := r.fill()
	if fill < 1 {
		return Plan{}, fmt.Errorf("plan: %w: the cup takes %.4g g, of which %.4g g stay in it, and one print takes %.4g g",
			ErrImpossible, r.CupMaximumG, r.ResidueG, r.GramsPerPrint)
	}
	var why error
	for mixes := (r.Prints + fill - 1) / fill; mixes <= min(r.Prints, mostMixes); mixes++ {
		var p Plan
		if p, why = r.evenly(mixes); why == nil {
			p.Faster = r.faster(p)
			return p, nil
		}
		if errors.Is(why, errNeverPrinted) {
			break
		}
	}
	if why == nil || r.Prints > mostMixes && !errors.Is(why, errNeverPrinted) {
		return Plan{}, fmt.Errorf("plan: %w: it takes more than %d mixes", ErrImpossible, mostMixes)
	}
	return Plan{}, fmt.Errorf("plan: %w: %w", ErrImpossible, why)
}

// fill returns how many prints a full cup makes.
func (r Run) fill() int {
	return int(min(math.Floor((r.CupMaximumG-r.ResidueG)/r.GramsPerPrint*(1+rounding)), mostPrints))
}

// share returns how many prints the i-th of so many mixes makes.
func (r Run) share(i, mixes int) int {
	n := r.Prints / mixes
	if i < r.Prints%mixes {
		n++
	}
	return n
}

// sizeG returns the mass of mix in g that so many prints take.
func (r Run) sizeG(prints int) float64 {
	return max(r.CupMinimumG, float64(prints)*r.GramsPerPrint+r.ResidueG)
}

// errNeverPrinted means that fewer prints per mix would not help either.
var errNeverPrinted = errors.New("the first mix is over before its first print")

// evenly divides the prints equally between so many mixes and plans their times. Each mix goes
// to the press that is free first. It begins just in time for that press, or as soon as the
// bench is free. The error says which mix is not printed before the earliest end of its life.
func (r Run) evenly(mixes int) (Plan, error) {
	preparing := r.MixingTakes + r.Rest
	free := make([]time.Duration, r.Presses)
	for i := range free {
		free[i] = preparing
	}
	benchFree := time.Duration(0)
	var p Plan
	for i := range mixes {
		m := Mix{Press: 1, Prints: r.share(i, mixes)}
		for press := range free {
			if free[press] < free[m.Press-1] {
				m.Press = press + 1
			}
		}
		m.SizeG = r.sizeG(m.Prints)
		m.LeftG = max(m.SizeG-float64(m.Prints)*r.GramsPerPrint, 0)
		m.Begun = max(free[m.Press-1]-preparing, benchFree)
		m.PrintFrom = m.Begun + preparing
		m.UsedUp = m.PrintFrom + r.printing(m.Prints)
		m.LowAt = m.Begun + r.Low(m.Begun)
		if err := r.inTime(i, m); err != nil {
			return Plan{}, err
		}
		if i >= r.Presses {
			p.Waits += m.PrintFrom - free[m.Press-1]
		}
		free[m.Press-1], benchFree = m.UsedUp, m.Begun+r.MixingTakes
		p.add(m)
	}
	p.PrintedG = float64(r.Prints) * r.GramsPerPrint
	p.LeftG = max(p.MixedG-p.PrintedG, 0)
	r.explain(&p)
	return p, nil
}

// add adds a mix to the sums.
func (p *Plan) add(m Mix) {
	spare := m.LowAt - m.UsedUp
	if len(p.Mixes) == 0 || spare < p.Spare {
		p.Spare = spare
	}
	p.Mixes = append(p.Mixes, m)
	p.MixedG += m.SizeG
	p.Finish = max(p.Finish, m.UsedUp)
}

// printing returns how long so many prints take.
func (r Run) printing(prints int) time.Duration {
	return time.Duration(math.Round(float64(prints) / r.PrintsPerHour * float64(time.Hour)))
}

// inTime reports whether the i-th mix is used up before the earliest end of its life. A
// microsecond is tolerated as rounding.
func (r Run) inTime(i int, m Mix) error {
	if m.UsedUp <= m.LowAt+time.Microsecond {
		return nil
	}
	life, preparing := m.LowAt-m.Begun, r.MixingTakes+r.Rest
	switch {
	case i == 0 && life <= preparing:
		return fmt.Errorf("%w: low bound %v, mixing and rest take %v", errNeverPrinted, life.Round(time.Second), preparing)
	case i == 0 && m.Prints > 1 && life < preparing+r.printing(1)-time.Microsecond, m.Prints == 1 && i == 0:
		return fmt.Errorf("%w: low bound %v, mixing, rest and one print take %v", errNeverPrinted, life.Round(time.Second),
			(preparing + r.printing(1)).Round(time.Second))
	}
	return fmt.Errorf("mix %d, begun after %v, is good for %v by its low bound; mixing, rest and its %d prints take %v", i+1,
		m.Begun.Round(time.Second), life.Round(time.Second), m.Prints, (m.UsedUp - m.Begun).Round(time.Second))
}

// explain finds where the waste comes from.
func (r Run) explain(p *Plan) {
	mixes := (r.Prints + r.fill() - 1) / r.fill() // if they lived for ever
	full, atLeastG := float64(mixes), -p.PrintedG
	for i := range mixes {
		atLeastG += r.sizeG(r.share(i, mixes))
	}
	noise := rounding * p.MixedG
	if over := p.LeftG - atLeastG; over > noise {
		p.LeftForLifeG = over
	}
	switch {
	case p.LeftG <= noise:
		p.Cause = NoWaste
	case p.LeftForLifeG > 0:
		p.Cause = BecauseLife
	case p.LeftG <= full*r.ResidueG+noise:
		p.Cause = OnlyResidue
	default:
		p.Cause = BecauseOfRun
	}
}

// faster tries more mixes, up to as many on each press as on the busiest one. With more, no
// press would end earlier.
func (r Run) faster(p Plan) []Faster {
	var out []Faster
	best := p.Finish
	most := (len(p.Mixes) + r.Presses - 1) / r.Presses * r.Presses
	for mixes := len(p.Mixes) + 1; mixes <= min(most, r.Prints, mostMixes); mixes++ {
		other, err := r.evenly(mixes)
		if err == nil && other.Finish < best {
			best = other.Finish
			out = append(out, Faster{Mixes: mixes, LeftG: other.LeftG, Finish: other.Finish})
		}
	}
	return out
}
