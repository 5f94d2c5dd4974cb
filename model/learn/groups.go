package learn

import (
	"cmp"
	"math"
	"slices"
)

// Facts are what may differ between batches of one ink. An empty one is not known.
type Facts struct {
	InkLot, HardenerLot string
	Colour, Press       string
	Weekday             string // of the day on which it was mixed, such as monday
	ClosedBy            string // who recorded the end
}

// The names of the facts, as results have them.
const (
	ByInkLot      = "ink-lot"
	ByHardenerLot = "hardener-lot"
	ByColour      = "colour"
	ByPress       = "press"
	ByWeekday     = "weekday"
	ByClosedBy    = "closed-by"
)

var facts = []struct {
	by string
	of func(*Facts) string
}{
	{ByInkLot, func(f *Facts) string { return f.InkLot }}, {ByHardenerLot, func(f *Facts) string { return f.HardenerLot }},
	{ByColour, func(f *Facts) string { return f.Colour }}, {ByPress, func(f *Facts) string { return f.Press }},
	{ByWeekday, func(f *Facts) string { return f.Weekday }}, {ByClosedBy, func(f *Facts) string { return f.ClosedBy }},
}

// Difference is how the batches of a group ended, compared with the fitted ink.
type Difference struct {
	By    string `json:"by" enum:"ink-lot,hardener-lot,colour,press,weekday,closed-by" doc:"what the batches of the group have in common"`
	Group string `json:"group" doc:"the lot, colour, press, weekday or person"`
	// Batches are the used records of the group, Ends those of them that ended.
	Batches int `json:"batches" doc:"number of batches in the group"`
	Ends    int `json:"ends" doc:"number of these whose end was seen"`
	// LifeRatio is the life of the group divided by that of the fitted ink, LnSE the standard error
	// of its logarithm.
	LifeRatio float64 `json:"life_ratio" doc:"life of these batches divided by that of the fitted ink"`
	LnSE      float64 `json:"ln_se" doc:"standard error of the logarithm of life_ratio"`
	// Unusual: chance alone would seldom make any group differ as much.
	Unusual bool `json:"unusual" doc:"chance alone seldom makes a group differ as much"`
}

const (
	// mostDifferences bounds how many groups a result lists.
	mostDifferences = 20
	// unusualAt is the probability below which one group or more of those compared differ as much by
	// chance.
	unusualAt = 0.05
	// differenceSpread holds the shift of a group without an end; see compare.
	differenceSpread = 0.3
	differenceRounds = 8
)

// compare finds by how much each group of batches ended earlier or later than the fitted ink says:
// the shift of ln life that is most likely, with a weak normal prior of spread 0.3.
func (f *fitting) compare(at point) {
	var found []Difference
	for _, fact := range facts {
		groups := map[string][]int{}
		for i := range f.used {
			if g := fact.of(&f.used[i].Facts); g != "" {
				groups[g] = append(groups[g], i)
			}
		}
		if len(groups) < 2 {
			continue
		}
		for g, members := range groups {
			d := Difference{By: fact.by, Group: g, Batches: len(members)}
			for _, i := range members {
				if f.used[i].Kind != Alive {
					d.Ends++
				}
			}
			shift, se := f.shift(members, at)
			d.LifeRatio, d.LnSE = math.Exp(shift), se
			if d.Ends > 0 && isFinite(d.LifeRatio) && isFinite(se) {
				found = append(found, d)
			}
		}
	}
	// Bonferroni's limit: as many comparisons as groups.
	limit := math.Sqrt2 * math.Erfinv(1-unusualAt/float64(max(len(found), 1)))
	size := func(d Difference) float64 { return math.Abs(math.Log(d.LifeRatio)) / d.LnSE }
	for k := range found {
		found[k].Unusual = size(found[k]) > limit
	}
	slices.SortFunc(found, func(a, b Difference) int {
		return cmp.Or(cmp.Compare(size(b), size(a)), cmp.Compare(a.By, b.By), cmp.Compare(a.Group, b.Group))
	})
	f.result.Differences = found[:min(len(found), mostDifferences)]
}

// shift returns the most likely shift of ln life of some records, and its standard error from the
// records alone.
func (f *fitting) shift(members []int, at point) (shift, se float64) {
	const held = 1 / (differenceSpread * differenceSpread)
	moved := at
	information := 0.0
	for range differenceRounds {
		gradient := -shift * held
		information = 0
		for _, i := range members {
			one := f.used[i].logLikelihood(moved, &f.prior.sheet)
			gradient += one.d[pLife]
			information -= one.h[pLife][pLife]
		}
		step := gradient / max(information+held, held)
		shift += min(max(step, -0.5), 0.5)
		moved[pLife] = at[pLife] + shift
	}
	return shift, 1 / math.Sqrt(information)
}

// scattersFrom is the batch-to-batch spread from which on a caution asks for its cause. A usual ink
// has half of it.
const scattersFrom = 0.25

// Scatters reports whether the batches differ so much from one to the next that they may be of two
// kinds. It returns the groups that differ unusually, the most unusual first, at most three.
func (r Result) Scatters() (bool, []Difference) {
	if r.Ends < fewestEnds || !(r.Sigma.Value > scattersFrom) {
		return false, nil
	}
	return true, r.UnusualGroups()
}

// UnusualGroups returns the groups that differ unusually, the most unusual first, at most three.
func (r Result) UnusualGroups() []Difference {
	var unusual []Difference
	for _, d := range r.Differences {
		if d.Unusual && len(unusual) < 3 {
			unusual = append(unusual, d)
		}
	}
	return unusual
}
