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

// Difference is how the batches of a group ended, compared with the others of the ink.
type Difference struct {
	By    string `json:"by" enum:"ink-lot,hardener-lot,colour,press,weekday,closed-by" doc:"what the batches of the group have in common"`
	Group string `json:"group" doc:"the lot, colour, press, weekday or person"`
	// Batches are the records of the group, Ends those of them that ended.
	Batches int `json:"batches" doc:"number of batches in the group"`
	Ends    int `json:"ends" doc:"number of these whose end was seen"`
	// LifeRatio is the life of the group divided by that of the other batches, LnSE the standard error
	// of its logarithm.
	LifeRatio float64 `json:"life_ratio" doc:"life of these batches divided by that of the others"`
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
	// differenceRest is the step of a logarithm that changes nothing in the digits that are shown.
	differenceRest = 1e-3
)

// compare finds by how much each group of batches ended earlier or later than the others: the shift of
// ln life that is most likely, with a weak normal prior of spread 0.3. Life and batch-to-batch spread
// of the others are found without the group, since a group that differs would hide in both. Records
// count by the mixture, so that a slip does not make a group unusual.
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
			if d.Ends == 0 {
				continue
			}
			var others []int
			for i := range f.used {
				if h := fact.of(&f.used[i].Facts); h != "" && h != g {
					others = append(others, i)
				}
			}
			reference, referenceSE := f.withoutGroup(others, at)
			shift, se := f.shift(members, reference)
			d.LifeRatio, d.LnSE = math.Exp(shift), math.Hypot(se, referenceSE)
			if isFinite(d.LifeRatio) && isFinite(d.LnSE) {
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

// among returns the mixture's log-likelihood of some records.
func (f *fitting) among(members []int, at point) (total jet) {
	for _, i := range members {
		one, _ := mixed(f.used[i].logLikelihood(at, &f.prior.sheet), f.wrongly[i])
		total = total.plus(1, &one)
	}
	return total
}

// withoutGroup returns the parameters with the life and the batch-to-batch spread that are most
// likely for the other batches, and the standard error of their ln life. Where these say too little
// the parameters stay as they are.
func (f *fitting) withoutGroup(others []int, at point) (reference point, se float64) {
	reference = at
	held := 1 / (f.prior.spread[pLnSigma] * f.prior.spread[pLnSigma])
	for range differenceRounds {
		l := f.among(others, reference)
		a, b, c := -l.h[pLife][pLife], -l.h[pLnSigma][pLife], -l.h[pLnSigma][pLnSigma]+held
		g, k := l.d[pLife], l.d[pLnSigma]-held*(reference[pLnSigma]-f.prior.centre[pLnSigma])
		determinant := a*c - b*b
		if !(a > 0 && c > 0 && determinant > 0) {
			return at, 0
		}
		step := func(by float64) float64 { return min(max(by, -0.3), 0.3) }
		life, lnSigma := step((c*g-b*k)/determinant), step((a*k-b*g)/determinant)
		reference[pLife] += life
		reference[pLnSigma] = min(max(reference[pLnSigma]+lnSigma, priorLow[pLnSigma]), priorHigh[pLnSigma])
		se = math.Sqrt(c / determinant)
		if max(math.Abs(life), math.Abs(lnSigma)) < differenceRest {
			break
		}
	}
	if !isFinite(reference[pLife]) || !isFinite(reference[pLnSigma]) {
		return at, 0
	}
	return reference, se
}

// shift returns the most likely shift of ln life of some records, and its standard error from the
// records alone. The mixture has several maxima; the search begins at the best of a grid.
func (f *fitting) shift(members []int, at point) (shift, se float64) {
	const held, most, grid = 1 / (differenceSpread * differenceSpread), 1.2, 0.1
	moved := at
	best := math.Inf(-1)
	for s := -most; s < most+grid/2; s += grid {
		moved[pLife] = at[pLife] + s
		if l := f.among(members, moved); l.v-s*s*held/2 > best {
			best, shift = l.v-s*s*held/2, s
		}
	}
	information := 0.0
	for range differenceRounds {
		moved[pLife] = at[pLife] + shift
		l := f.among(members, moved)
		information = -l.h[pLife][pLife]
		step := min(max((l.d[pLife]-shift*held)/max(information+held, held), -grid), grid)
		if shift += step; math.Abs(step) < differenceRest {
			break
		}
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
