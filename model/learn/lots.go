package learn

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"potlifed/model/cure"
)

// The lots of ink and hardener are random effects: ln life of a batch is that of its ink plus the
// effects of its two lots, each from a normal distribution around zero with a spread of its own. A lot
// of which nothing is known adds its spread to the scatter between batches; a lot with ends adds what
// they say of it.
//
// The spreads are found from the marginal likelihood, by Laplace's approximation over the effects and
// the parameters (Tierney & Kadane 1986, from memory), on a grid, one kind of lot after the other. Their
// posterior mean square is used and not the maximum, which is zero in half of the shops with few lots.
const (
	lotKinds = 2 // ink, hardener
	// fewestLots is the number of lots with an end from which on a spread between lots is looked for.
	fewestLots = 3
	// lotSpreadScale is the scale of the half-normal prior of a spread. An assumption: two thirds of
	// what batches usually differ by.
	lotSpreadScale = 0.1
)

// lotSpreads are the grid of spreads.
var lotSpreads = []float64{0, 0.03, 0.06, 0.09, 0.12, 0.16, 0.21, 0.28, 0.4}

// Lot is what its ends say of a lot of ink or hardener.
type Lot struct {
	By      string `json:"by" enum:"ink-lot,hardener-lot" doc:"which of the two"`
	Lot     string `json:"lot" doc:"the lot"`
	Batches int    `json:"batches" doc:"number of batches of the lot"`
	Ends    int    `json:"ends" doc:"number of these whose end was seen"`
	// LifeRatio is the life of the lot's batches divided by that of the ink, shrunk by how much lots
	// differ; LnSE is the standard error of its logarithm.
	LifeRatio float64 `json:"life_ratio" doc:"life of the lot's batches divided by that of the ink, as far as the ends are believed"`
	LnSE      float64 `json:"ln_se" doc:"standard error of the logarithm of life_ratio"`
	// WithLife is the covariance of that logarithm with the ink's ln life.
	WithLife float64 `json:"with_life" doc:"covariance of the logarithm of life_ratio with that of the ink's life"`
}

// Lots is what is known of the lots of an ink and its hardener. The zero Lots says nothing.
type Lots struct {
	// InkLnSpread and HardenerLnSpread are the standard deviations of ln life from lot to lot.
	InkLnSpread      float64 `json:"ink_ln_spread" doc:"standard deviation of the logarithm of the life from one lot of ink to the next"`
	HardenerLnSpread float64 `json:"hardener_ln_spread" doc:"the same of the hardener's lots"`
	// Within is the batch-to-batch spread inside a lot.
	Within float64 `json:"within" doc:"batch-to-batch spread inside a lot, as the standard deviation of the logarithm of the pot life"`
	Known  []Lot   `json:"known" doc:"the lots that batches were mixed from"`
}

// Of returns the ink for a batch of two lots; either may be empty or of a lot that is not known. It is
// the ink itself where nothing is known of lots. ink must be the Posterior that the lots belong to.
func (l Lots) Of(ink cure.Ink, inkLot, hardenerLot string) cure.Ink {
	if !(l.Within > 0) {
		return ink
	}
	variance, unseen, shift := ink.LifeLnSpread*ink.LifeLnSpread, 0.0, 0.0
	for _, one := range []struct {
		by, lot string
		spread  float64
	}{{ByInkLot, inkLot, l.InkLnSpread}, {ByHardenerLot, hardenerLot, l.HardenerLnSpread}} {
		i := slices.IndexFunc(l.Known, func(k Lot) bool { return k.By == one.by && k.Lot == one.lot && one.lot != "" })
		if i < 0 {
			unseen += one.spread * one.spread
			continue
		}
		k := l.Known[i]
		shift += math.Log(k.LifeRatio)
		variance += k.LnSE*k.LnSE + 2*k.WithLife
	}
	low, high := cure.MinLearnedSigma, cure.MaxLearnedSigma
	if !ink.SigmaLearned {
		low, high = cure.MinSigma, cure.MaxSigma
	}
	of := ink
	of.LRefH *= math.Exp(shift)
	of.LifeLnSpread = math.Sqrt(max(variance, 0))
	of.Sigma = min(max(math.Sqrt(l.Within*l.Within+unseen), low), high)
	of.LotLnSpread = min(math.Sqrt(unseen), of.Sigma)
	if of.Valid() != nil {
		return ink
	}
	return of
}

// lotKind is one of the two kinds of lot of a pair while it is fitted.
type lotKind struct {
	by     string
	spread float64
	names  []string
	of     []int // the lot of each used record, -1 for none
	first  int   // the place of the first lot's variable
}

// findLots notes the lots of the used records.
func (f *fitting) findLots() {
	for k, fact := range facts[:lotKinds] {
		kind := lotKind{by: fact.by, of: make([]int, len(f.used))}
		ends := map[string]int{}
		for i := range f.used {
			if lot := fact.of(&f.used[i].Facts); lot != "" {
				kind.names = append(kind.names, lot)
				if f.used[i].Kind != Alive {
					ends[lot]++
				}
			}
		}
		slices.Sort(kind.names)
		kind.names = slices.Compact(kind.names)
		for i := range f.used {
			at, found := slices.BinarySearch(kind.names, fact.of(&f.used[i].Facts))
			kind.of[i] = at
			if !found {
				kind.of[i] = -1
			}
		}
		// Where each lot has one end at most, lots and batches cannot be told apart.
		if most := mostOf(ends); len(ends) < fewestLots || most < 2 {
			kind.names = nil
		}
		f.lots[k] = kind
	}
}

func mostOf(counts map[string]int) (most int) {
	for _, n := range counts {
		most = max(most, n)
	}
	return most
}

// variables calls visit with the place of each lot's variable that a record depends on, and with the
// spread by which the variable is scaled.
func (f *fitting) variables(record int, visit func(at int, spread float64)) {
	for k := range f.lots {
		if kind := &f.lots[k]; kind.spread > 0 && len(kind.names) > 0 && kind.of[record] >= 0 {
			visit(kind.first+kind.of[record], kind.spread)
		}
	}
}

// placeLots gives the lots whose spread is above zero their variables, from n on, and returns the next
// free place.
func (f *fitting) placeLots(n int) int {
	for k := range f.lots {
		if kind := &f.lots[k]; kind.spread > 0 {
			kind.first = n
			n += len(kind.names)
		}
	}
	return n
}

// findSpreads sets the spreads between lots of a pair from its records alone under its own prior.
// start are the pair's variables without lots.
func (f *fitting) findSpreads(start []float64) {
	const passes = 2
	for range passes {
		for k := range f.lots {
			kind := &f.lots[k]
			if len(kind.names) == 0 {
				continue
			}
			evidence := make([]float64, len(lotSpreads))
			for g, spread := range lotSpreads {
				kind.spread = spread
				var found []float64
				evidence[g], found = f.evidence(start)
				evidence[g] -= spread * spread / (2 * lotSpreadScale * lotSpreadScale)
				if found != nil {
					start = found // close to that of the next spread
				}
			}
			kind.spread = meanSpread(evidence)
		}
		if len(f.lots[0].names) == 0 || len(f.lots[1].names) == 0 {
			return
		}
	}
}

// meanSpread returns the root of the posterior mean of the squared spread, from ln of its density on
// the grid, by the trapezoidal rule.
func meanSpread(evidence []float64) float64 {
	top := math.Inf(-1)
	for _, e := range evidence {
		if !math.IsNaN(e) {
			top = max(top, e)
		}
	}
	total, square := 0.0, 0.0
	for g, e := range evidence {
		width := 0.0
		if g > 0 {
			width += lotSpreads[g] - lotSpreads[g-1]
		}
		if g+1 < len(lotSpreads) {
			width += lotSpreads[g+1] - lotSpreads[g]
		}
		if w := width * math.Exp(e-top); w > 0 {
			total += w
			square += w * lotSpreads[g] * lotSpreads[g]
		}
	}
	if !(total > 0) {
		return 0
	}
	return math.Sqrt(square / total)
}

// evidence returns ln of the marginal likelihood at the present spreads, apart from a constant, and the
// variables at which the likelihood is largest; -Inf and nil where it cannot be found. The variables are
// scaled by the spreads, so that the constant is the same for all.
func (f *fitting) evidence(start []float64) (float64, []float64) {
	alone, low, high := newShop(f)
	from := make([]float64, alone.n)
	if len(start) != alone.n {
		start = start[:len(f.free)]
	}
	copy(from, start)
	o := minimiseTo(roughStep, alone.penalised, from, low, high)
	if !o.converged {
		return math.Inf(-1), nil
	}
	return -o.value - 0.5*lnDeterminant(o.hessian, indices(o.active, false)), o.x
}

// tellLots puts what was found of the lots into the result, whose Posterior is known. at are the
// parameters at the shop's variables x, without lots.
func (f *fitting) tellLots(x []float64, covariance *mat.SymDense, at point) {
	if f.between() == 0 || f.result.Fault != "" {
		return
	}
	lots := Lots{Within: math.Exp(f.at(x)[pLnSigma]), Known: []Lot{}}
	// The covariance is that with the life in the air in which the Posterior knows it.
	lnLife, spent := f.prior.lnLRef(at), spendingIn(f.result.Posterior.KnownIn(), at)
	lnLife = lnLife.plus(-1, &spent)
	for k := range f.lots {
		kind := &f.lots[k]
		if !(kind.spread > 0) || len(kind.names) == 0 {
			continue
		}
		if k == 0 {
			lots.InkLnSpread = kind.spread
		} else {
			lots.HardenerLnSpread = kind.spread
		}
		for j, name := range kind.names {
			at := kind.first + j
			one := Lot{By: kind.by, Lot: name, LifeRatio: math.Exp(kind.spread * x[at]), LnSE: kind.spread * math.Sqrt(max(covariance.At(at, at), 0))}
			for l, p := range f.free {
				one.WithLife += kind.spread * lnLife.d[p] * f.prior.spread[p] * covariance.At(at, f.first+l)
			}
			for i := range f.used {
				if kind.of[i] != j {
					continue
				}
				one.Batches++
				if f.used[i].Kind != Alive {
					one.Ends++
				}
			}
			lots.Known = append(lots.Known, one)
		}
	}
	f.result.Lots = lots
}

// between returns the variance of ln life between lots.
func (f *fitting) between() (variance float64) {
	for k := range f.lots {
		if len(f.lots[k].names) > 0 {
			variance += f.lots[k].spread * f.lots[k].spread
		}
	}
	return variance
}

// addLots subtracts the part of a record's log-likelihood that depends on its lots.
func (f *fitting) addLots(record int, one *jet, gradient []float64, hessian *mat.SymDense) {
	f.variables(record, func(i int, spread float64) {
		gradient[i] -= spread * one.d[pLife]
		for k, p := range f.free {
			j := f.first + k
			hessian.SetSym(i, j, hessian.At(i, j)-spread*f.prior.spread[p]*one.h[max(p, pLife)][min(p, pLife)])
		}
		f.variables(record, func(j int, other float64) {
			if j <= i {
				hessian.SetSym(i, j, hessian.At(i, j)-spread*other*one.h[pLife][pLife])
			}
		})
	})
}

// withoutLots returns the parameters of batches whose lots are not told apart: the scatter between lots
// is one between batches.
func (f *fitting) withoutLots(at point) point {
	at[pLnSigma] = 0.5 * math.Log(math.Exp(2*at[pLnSigma])+f.between())
	return at
}

// ofRecord returns the parameters of a record: with the effects of its lots.
func (f *fitting) ofRecord(record int, x []float64) point {
	if x == nil {
		return f.prior.centre
	}
	at := f.at(x)
	f.variables(record, func(i int, spread float64) { at[pLife] += spread * x[i] })
	return at
}
