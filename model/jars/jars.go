// Package jars plans and judges a jar test: parts of one mix in jars whose air differs in temperature and
// humidity tell in a day how the pot life of an ink depends on them.
//
// A jar i of mix m ends after
//
//	ln t = ln life + ln r(sheet's air) - ln r(jar's air) + mix(m) + own(i)
//
// with r(T, e) = (1 - s) k(T) + s e/e_ref as in package cure. mix is the effect that all parts of a mix share and
// own that of one jar. Because parts share it, two jars of one mix say more of activation energy and moisture share than
// two batches: the scatter from batch to batch cancels. All is normal around the values of the data
// sheet; the model is linear in all but activation energy and moisture share, which are linearised at the
// solution.
//
// A jar is still air over still ink. The moisture share that it tells is that of such a surface; a stirred cup, or
// one on a press, takes up more.
package jars

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// Jar is a part of a mix in a jar.
type Jar struct {
	Mix string    `json:"mix"` // parts of one mix have the same
	Air air.State `json:"air"`
}

// Result is when a jar ended: after it was seen good for the last time and before it was seen gone off, both
// counted from the first hardener. EndedH is 0 for a jar that was still good at the last look; LastGoodH is 0 for one
// that had gone off at the first.
type Result struct {
	Jar
	LastGoodH float64 `json:"last_good_h"`
	EndedH    float64 `json:"ended_h"`
}

// seen returns what is known of the end.
func (r Result) seen() seen {
	switch {
	case r.EndedH == 0:
		return stillGood
	case r.LastGoodH == 0:
		return alreadyGone
	}
	return betweenLooks
}

// seen is what is known of the end of a jar.
type seen int

const (
	betweenLooks seen = iota // it ended between two looks: taken as their middle, with a variance
	stillGood                // it ends later than the last look
	alreadyGone              // it ended before the first
)

// DefaultNoise is the standard deviation of ln (life) from jar to jar of one mix, looking apart. An assumption.
const DefaultNoise = 0.05

// MaxJars bounds a test.
const MaxJars = 48

// Spreads are standard deviations of what a jar test is to tell.
type Spreads struct {
	ActivationKJPerMol float64 `json:"activation_kj_mol"` // of the activation energy
	MoistureShare      float64 `json:"moisture_share"`
}

// Ends is when the jars of a plan end: a tenth before Low, nine tenths before High.
type Ends struct {
	Jar
	LowH      float64 `json:"low_h"`
	ExpectedH float64 `json:"expected_h"`
	HighH     float64 `json:"high_h"`
}

// Plan is what a jar test is expected to tell.
type Plan struct {
	Jars   []Ends  `json:"jars"`
	Before Spreads `json:"before"`
	After  Spreads `json:"after"`
	// Apart is After if each jar were of a mix of its own.
	Apart Spreads `json:"apart"`
}

// Expect returns what jars are expected to tell of an ink before anything is mixed: the inverse of the Fisher
// information at the data sheet's values. They are looked at each so often.
func Expect(ink cure.Ink, jars []Jar, noise float64, look time.Duration) (Plan, error) {
	results := make([]Result, len(jars))
	plan := Plan{Before: Spreads{ink.ActivationSpread, ink.MoistureSpread}}
	for i, j := range jars {
		if err := j.valid(); err != nil {
			return Plan{}, err
		}
		ln := math.Log(cure.StillAir(ink, open, j.Air).LifeH)
		half := look.Hours() / 2
		results[i] = Result{j, math.Exp(ln) - min(half, 0.9*math.Exp(ln)), math.Exp(ln) + half}
	}
	f, err := newFit(ink, results, noise)
	if err != nil {
		return Plan{}, err
	}
	for i, j := range jars {
		row := f.row(i, f.centre())
		spread := math.Sqrt(mat.Inner(row, f.prior, row) + f.variance[i])
		expected := math.Exp(f.predicted(i, f.centre()))
		const tenth = 1.2816
		plan.Jars = append(plan.Jars, Ends{j, expected * math.Exp(-tenth*spread), expected, expected * math.Exp(tenth*spread)})
	}
	if plan.After, err = f.spreads(f.centre()); err != nil {
		return Plan{}, err
	}
	plan.Apart, err = apart(ink, results, noise)
	return plan, err
}

// apart returns the spreads if each jar were of a mix of its own.
func apart(ink cure.Ink, results []Result, noise float64) (Spreads, error) {
	own := make([]Result, len(results))
	for i, r := range results {
		r.Mix = fmt.Sprint(i)
		own[i] = r
	}
	f, err := newFit(ink, own, noise)
	if err != nil {
		return Spreads{}, err
	}
	at, err := f.solve()
	if err != nil {
		return Spreads{}, err
	}
	return f.spreads(at)
}

// Told is what a jar test told.
type Told struct {
	ActivationKJPerMol float64 `json:"activation_kj_mol"`
	MoistureShare      float64 `json:"moisture_share"`
	// LifeFactor is the life of these mixes over that of the data sheet, each mix's own scatter included.
	LifeFactor float64 `json:"life_factor"`
	Before     Spreads `json:"before"`
	After      Spreads `json:"after"`
	Apart      Spreads `json:"apart"`
	// Residuals are ln of each jar's life over the fitted one. One whose end was not seen between two looks is only as far
	// off as its look: 0 where the fit agrees with that.
	Residuals []float64 `json:"residuals"`
}

// Fit returns what results told, with the data sheet's values and their spreads as the prior.
func Fit(ink cure.Ink, results []Result, noise float64) (Told, error) {
	f, err := newFit(ink, results, noise)
	if err != nil {
		return Told{}, err
	}
	at, err := f.solve()
	if err != nil {
		return Told{}, err
	}
	t := Told{ActivationKJPerMol: at.AtVec(energy), MoistureShare: at.AtVec(share), Before: Spreads{ink.ActivationSpread, ink.MoistureSpread}}
	if t.After, err = f.spreads(at); err != nil {
		return Told{}, err
	}
	if t.Apart, err = apart(ink, results, noise); err != nil {
		return Told{}, err
	}
	mixes := 0.0
	for m := firstMix; m < at.Len(); m++ {
		mixes += at.AtVec(m) / float64(at.Len()-firstMix)
	}
	t.LifeFactor = math.Exp(at.AtVec(life) + mixes)
	for i := range results {
		off := f.measured[i] - f.predicted(i, at)
		switch f.results[i].seen() {
		case stillGood:
			off = max(off, 0)
		case alreadyGone:
			off = min(off, 0)
		}
		t.Residuals = append(t.Residuals, off)
	}
	return t, nil
}

// The parameters.
const (
	life = iota // ln of the life over that of the data sheet
	share
	energy
	firstMix // the effects of the mixes
)

var open = cure.Place{Exposure: 1}

// fit is a test with its priors.
type fit struct {
	ink      cure.Ink
	results  []Result
	mixes    map[string]int
	measured []float64
	variance []float64
	prior    *mat.SymDense // covariance
}

func (j Jar) valid() error {
	if err := j.Air.Valid(); err != nil {
		return fmt.Errorf("jar: %w", err)
	}
	return nil
}

// lnLife returns ln of the life in h, with its variance from the time between the looks; of a jar that was only seen
// good, or only gone off, ln of that time.
func (r Result) lnLife() (measured, variance float64, err error) {
	good, gone := r.LastGoodH > 0 && r.LastGoodH <= MaxHours, r.EndedH > r.LastGoodH && r.EndedH <= MaxHours
	from, to := math.Log(r.LastGoodH), math.Log(r.EndedH)
	switch {
	case good && gone: // an end anywhere between two looks
		return (from + to) / 2, (to - from) * (to - from) / 12, nil
	case good && r.EndedH == 0:
		return from, 0, nil
	case gone && r.LastGoodH == 0:
		return to, 0, nil
	}
	return 0, 0, fmt.Errorf("last seen good after %g h and gone off after %g h: want 0 < good < gone off <= %d, or one of the two", r.LastGoodH, r.EndedH, MaxHours)
}

// MaxHours bounds the life of a jar.
const MaxHours = 1000

func newFit(ink cure.Ink, results []Result, noise float64) (*fit, error) {
	if err := ink.Valid(); err != nil {
		return nil, err
	}
	if len(results) < 2 || len(results) > MaxJars {
		return nil, fmt.Errorf("%d jars: want 2 to %d", len(results), MaxJars)
	}
	if !(noise >= 0.01 && noise <= 0.5) {
		return nil, fmt.Errorf("scatter from jar to jar of %g %%: want 1 to 50", 100*noise)
	}
	f := &fit{ink: ink, results: results, mixes: map[string]int{}}
	for i, r := range results {
		if err := r.valid(); err != nil {
			return nil, err
		}
		measured, looks, err := r.lnLife()
		if err != nil {
			return nil, fmt.Errorf("jar %d: %w", i+1, err)
		}
		f.measured = append(f.measured, measured)
		f.variance = append(f.variance, noise*noise+looks)
		if _, known := f.mixes[r.Mix]; !known {
			f.mixes[r.Mix] = firstMix + len(f.mixes)
		}
	}
	n := firstMix + len(f.mixes)
	f.prior = mat.NewSymDense(n, nil)
	for k, sd := range []float64{life: ink.LifeLnSpread, share: ink.MoistureSpread, energy: ink.ActivationSpread} {
		f.prior.SetSym(k, k, max(sd*sd, 1e-8))
	}
	for m := firstMix; m < n; m++ {
		f.prior.SetSym(m, m, ink.Sigma*ink.Sigma)
	}
	return f, nil
}

func (f *fit) centre() *mat.VecDense {
	c := mat.NewVecDense(f.prior.SymmetricDim(), nil)
	c.SetVec(share, f.ink.MoistureShare)
	c.SetVec(energy, f.ink.ActivationKJPerMol)
	return c
}

// predicted returns ln of the life in h of a jar.
func (f *fit) predicted(i int, at *mat.VecDense) float64 {
	of := f.ink
	of.MoistureShare, of.ActivationKJPerMol = at.AtVec(share), at.AtVec(energy)
	known := math.Log(cure.StillAir(f.ink, open, f.ink.KnownIn()).LifeH / cure.StillAir(of, open, f.ink.KnownIn()).LifeH)
	return math.Log(cure.StillAir(of, open, f.results[i].Air).LifeH) + known + at.AtVec(life) + at.AtVec(f.mixes[f.results[i].Mix])
}

// row returns the slopes of predicted.
func (f *fit) row(i int, at *mat.VecDense) *mat.VecDense {
	row := mat.NewVecDense(at.Len(), nil)
	row.SetVec(life, 1)
	row.SetVec(f.mixes[f.results[i].Mix], 1)
	for k, h := range map[int]float64{share: 1e-4, energy: 1e-2} {
		up, down := mat.VecDenseCopyOf(at), mat.VecDenseCopyOf(at)
		up.SetVec(k, at.AtVec(k)+h)
		down.SetVec(k, at.AtVec(k)-h)
		row.SetVec(k, (f.predicted(i, up)-f.predicted(i, down))/(2*h))
	}
	return row
}

// slopes returns the derivative of a jar's log-likelihood by its predicted ln life, and the negative second one, both in
// units of its spread. z is how far the measured life is above the predicted one. For an end between two looks the
// likelihood is normal; for one beyond a look it is the tail of a normal distribution.
func slopes(s seen, z float64) (first, curvature float64) {
	if s == betweenLooks {
		return z, 1
	}
	if s == alreadyGone {
		z = -z
	}
	hazard := max(z, 0) + 1/max(z, 1) // far out, where the tail is too small for a figure
	if tail := distuv.UnitNormal.Survival(z); tail > 0 {
		hazard = distuv.UnitNormal.Prob(z) / tail
	}
	curvature = hazard * max(hazard-z, 0)
	if s == alreadyGone {
		return -hazard, curvature
	}
	return hazard, curvature
}

// information returns the Fisher information of the jars and of the prior, and J'V⁻¹ (measured - predicted) less
// the prior's pull. Of a jar whose end was not seen between two looks it is the observed information.
func (f *fit) information(at *mat.VecDense) (*mat.SymDense, *mat.VecDense) {
	n := at.Len()
	info, pull := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	centre := f.centre()
	for k := range n {
		info.SetSym(k, k, 1/f.prior.At(k, k))
		pull.SetVec(k, (centre.AtVec(k)-at.AtVec(k))/f.prior.At(k, k))
	}
	for i := range f.results {
		row, spread := f.row(i, at), math.Sqrt(f.variance[i])
		slope, curvature := slopes(f.results[i].seen(), (f.measured[i]-f.predicted(i, at))/spread)
		info.SymRankOne(info, curvature/f.variance[i], row)
		pull.AddScaledVec(pull, slope/spread, row)
	}
	return info, pull
}

// solve returns the most probable parameters, by Gauss-Newton steps.
func (f *fit) solve() (*mat.VecDense, error) {
	at := f.centre()
	for range 50 {
		info, pull := f.information(at)
		var chol mat.Cholesky
		if !chol.Factorize(info) {
			return nil, fmt.Errorf("the jars do not tell activation energy and moisture share apart")
		}
		step := mat.NewVecDense(at.Len(), nil)
		if err := chol.SolveVecTo(step, pull); err != nil {
			return nil, fmt.Errorf("jar test: %w", err)
		}
		at.AddVec(at, step)
		at.SetVec(share, min(max(at.AtVec(share), 1e-3), cure.MaxMoistureShare))
		at.SetVec(energy, min(max(at.AtVec(energy), cure.MinActivationKJPerMol), cure.MaxActivationKJPerMol))
		if mat.Norm(step, math.Inf(1)) < 1e-9 {
			break
		}
	}
	return at, nil
}

// spreads returns the standard deviations at some parameters.
func (f *fit) spreads(at *mat.VecDense) (Spreads, error) {
	info, _ := f.information(at)
	var chol mat.Cholesky
	var covariance mat.SymDense
	if !chol.Factorize(info) {
		return Spreads{}, fmt.Errorf("the jars do not tell activation energy and moisture share apart")
	}
	if err := chol.InverseTo(&covariance); err != nil {
		return Spreads{}, fmt.Errorf("jar test: %w", err)
	}
	return Spreads{math.Sqrt(covariance.At(energy, energy)), math.Sqrt(covariance.At(share, share))}, nil
}
