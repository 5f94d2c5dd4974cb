package viscosity

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Series is what was measured of a batch that has ended.
type Series struct {
	Batch string `json:"batch"`
	// EndDose is the spent life at which somebody saw the batch go off; 0 when nobody did.
	EndDose float64 `json:"end_dose,omitempty"`
	Points  []Point `json:"points"`
}

// Point is a sample with the spent life at which it was taken.
type Point struct {
	Dose float64 `json:"dose"`
	Of   Sample  `json:"of"`
}

const (
	// freshDose: a sample of a batch whose end nobody saw counts up to this spent life, as if the batch
	// ended at 1. It tells the start.
	freshDose = 0.1
	// leastRiseSpread is by how much of itself the rise differs from batch to batch, however well its mean
	// is known. An assumption.
	leastRiseSpread = 0.05
	// learnedShareSpread is what is known of the share at a bend before a series is seen: the straight
	// line is its centre.
	learnedShareSpread = 0.25
)

// LeastEnds is how many batches with a known end it takes to move the bend, and until a trend may lengthen a
// life.
const LeastEnds = 3

// The parameters of a fit.
const (
	ofStart = iota
	ofRise
	ofShare // times the rise
	ofKelvin
	ofPct
	parameters
)

// Learn returns the curve of an ink from the batches that were measured. Without any it is that of
// [Assumed]. Start, rise, share and slopes are a linear regression with normal priors and a start of each
// batch's own; bend and the spread of the starts are those of the largest evidence among a few.
func Learn(series []Series) Curve { return learn(series, Assumed()) }

// learn returns the curve with the given one where nothing is learned.
func learn(series []Series, assumed Curve) Curve {
	best, most := assumed, math.Inf(-1)
	rows := rowsOf(series)
	if len(rows) == 0 {
		return best
	}
	ends := map[int]bool{}
	for _, r := range rows {
		if r.ended {
			ends[r.batch] = true
		}
	}
	bends := []float64{best.Bend}
	if len(ends) >= LeastEnds {
		bends = []float64{0.3, 0.4, 0.5, 0.6, 0.7, 0.8}
	}
	for _, bend := range bends {
		for _, ofBatch := range []float64{0.1, 0.25, 0.5} {
			prior := assumed
			prior.Bend, prior.Share = bend, bend
			if len(ends) >= LeastEnds {
				prior.ShareSpread = learnedShareSpread
			}
			if c, evidence, ok := fit(prior, rows, ofBatch); ok && evidence > most && c.Valid() == nil {
				best, most = c, evidence
			}
		}
	}
	best.Ends = len(ends)
	return best
}

// row is a sample of a fit.
type row struct {
	batch int
	ended bool
	u     float64
	of    Sample
}

func rowsOf(series []Series) []row {
	var rows []row
	for i, s := range series {
		for _, p := range s.Points {
			switch {
			case p.Of.Valid() != nil:
			case s.EndDose > 0:
				rows = append(rows, row{i, true, p.Dose / s.EndDose, p.Of.Longest()})
			case p.Dose <= freshDose:
				rows = append(rows, row{i, false, p.Dose, p.Of.Longest()})
			}
		}
	}
	return rows
}

// fit returns the posterior curve with a bend and a spread of the batches' starts, and the logarithm of the
// evidence. ok is false when the rows cannot be told apart from each other.
func fit(prior Curve, rows []row, ofBatch float64) (c Curve, evidence float64, ok bool) {
	n := len(rows)
	spread := [parameters]float64{prior.StartSpread, prior.RiseSpread, prior.Rise * prior.ShareSpread, prior.PerKelvinSd, prior.PerPctSd}
	// The rise of an ink that is learned may be far from a doubling.
	spread[ofRise] = prior.Rise
	a, r := mat.NewDense(n, parameters, nil), mat.NewVecDense(n, nil)
	for i, w := range rows {
		s, perShare := prior.Risen(w.u)
		for k, x := range [parameters]float64{1, s, perShare, -(w.of.TemperatureC - referenceTemperatureC), -w.of.ThinnerPct} {
			a.Set(i, k, x*spread[k])
		}
		r.SetVec(i, prior.Plain(w.of)-prior.Start-prior.Rise*s)
	}
	covariance := mat.NewSymDense(n, nil)
	covariance.SymOuterK(1, a)
	for i, w := range rows {
		for j := i; j < n; j++ {
			v := covariance.At(i, j)
			if w.batch == rows[j].batch {
				v += ofBatch*ofBatch + w.of.Drift*rows[j].of.Drift
			}
			if i == j {
				v += prior.Variance(w.of)
			}
			covariance.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(covariance) {
		return Curve{}, 0, false
	}
	var weights mat.VecDense
	var gain mat.Dense
	if chol.SolveVecTo(&weights, r) != nil || chol.SolveTo(&gain, a) != nil {
		return Curve{}, 0, false
	}
	evidence = -0.5*mat.Dot(r, &weights) - 0.5*chol.LogDet()
	var mean mat.VecDense
	mean.MulVec(a.T(), &weights)
	var known mat.Dense
	known.Mul(a.T(), &gain)
	at := func(k int) float64 { return spread[k] * mean.AtVec(k) }
	sd := func(k int) float64 { return spread[k] * math.Sqrt(max(1-known.At(k, k), 0)) }
	c = prior
	c.Start += at(ofStart)
	c.StartSpread = math.Hypot(sd(ofStart), ofBatch)
	c.Rise += at(ofRise)
	c.RiseSpread = math.Hypot(min(sd(ofRise), prior.RiseSpread/prior.Rise*c.Rise), leastRiseSpread*c.Rise)
	c.Share = min(max(prior.Share+at(ofShare)/max(c.Rise, 0.02), minShare), maxShare)
	c.ShareSpread = min(sd(ofShare)/max(c.Rise, 0.02), Assumed().ShareSpread)
	c.PerKelvin, c.PerKelvinSd = c.PerKelvin+at(ofKelvin), sd(ofKelvin)
	c.PerPct, c.PerPctSd = c.PerPct+at(ofPct), sd(ofPct)
	return c, evidence, true
}
