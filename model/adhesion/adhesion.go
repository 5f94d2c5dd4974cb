// Package adhesion learns from tests of prints until which age of the mix the ink adheres.
//
// A mix that still flows may already have spent so much of its hardener that the print does not adhere. That
// adhesion end is a second end of the pot life, with a band of its own. A test of a print, passed or
// failed, tells on which side of the end the mix was when the print was made. Usual tests are ISO 2409
// (Paints and varnishes, Cross-cut test) and ASTM D3359 (Standard Test Methods for Rating Adhesion by Tape
// Test). They also fail for other reasons, as when the part was not clean.
//
// ln (age at the adhesion end) is normal from batch to batch around a centre of the ink. The age is that in
// [Test]. Not for use: the time that a print needs to cure before it can be tested.
package adhesion

import (
	"math"
	"slices"
)

// Test is a test of a print.
type Test struct {
	Seq   uint64 `json:"seq"` // of its event
	Batch string `json:"batch"`
	// AgeH is the age in h at which the mix would have spent as much of its pot life at 20 °C and 50 %
	// relative humidity as it had when the print was made.
	AgeH   float64 `json:"age_h"`
	Passed bool    `json:"passed"`
}

// EarlyShare is the share of the nominal life before which a failed test tells nothing of the adhesion end. Before
// any test ln (end / life) has a standard deviation of 0.38, so that one end in 8000 is earlier than a quarter; one
// print in 20 fails for another reason, such as the hardener, the ratio, the surface or its treatment.
const EarlyShare = 0.25

// MaxTests is how many tests of an ink are used.
const MaxTests = 60

const (
	// Scatter is the standard deviation of ln end from batch to batch. centreSpread is that of ln of the ink's centre
	// before the first test; its middle is the visible end. Assumptions.
	Scatter      = 0.15
	centreSpread = 0.35
	// wrongFail is the probability that a print fails for another reason than its age. An assumption.
	wrongFail = 0.05

	// step is the width of a cell of ln age, and MaxLonger the most by which one passed test makes
	// the adhesion end later.
	step      = 0.02
	MaxLonger = step
	// The cells lie around the visible end.
	lowest, cells = -1.8, 160
	// every: the centres lie in each so many cells.
	every = 4
)

// points is the number of quantiles of an [End], and Deviate the standard normal deviate of one of
// them: from -3 to 3.
const points = 13

// Deviate returns the standard normal deviate of the k-th quantile.
func Deviate(k int) float64 { return float64(k-points/2) / 2 }

// End is the distribution of the adhesion end of a batch: quantiles of ln (age in h) at the deviates, rising.
type End [points]float64

// Learn returns the adhesion end of a batch of an ink whose nominal visible life at 20 °C and 50 % is lifeH
// hours. batch is its id: its own tests tell of its own end; those of other batches tell of the ink, each as if
// it were of a batch of its own. The newest [MaxTests] tests are used, of those that failed only such from
// [EarlyShare] of the life on. ok is false while none of these has failed: nothing then says that the adhesion end is the earlier one, and tests that were passed change nothing.
//
// A passed test, right or wrong, makes an end later by at most [MaxLonger], and a failed one never: for each
// number k of passed tests of the batch itself and each number n of others, the k and n latest are left out and
// the end that follows is made later by (k+n)·MaxLonger; the earliest of all these is the end. With one passed
// test more, each of the old ends has a new one beside it that is later by one MaxLonger or less: where the new test
// is among those left out, the same tests are left; elsewhere one more of its kind is left out, and the new test
// takes the place of one at a later age, which does not make the end later, since the likelihood ratio of the centre
// rises with the age of a passed test.
//
// The end is early while tests are few: of 4,000 simulated shops 1.2 % end before the lower tenth with 12 tests, 3.0 %
// with 25 and 10.1 % with 60.
func Learn(tests []Test, lifeH float64, batch string) (end End, ok bool) {
	tests = tests[max(0, len(tests)-MaxTests):]
	fromAge := func(t Test) bool { return !t.Passed && t.AgeH >= EarlyShare*lifeH }
	if !(lifeH > 0) || !slices.ContainsFunc(tests, fromAge) {
		return End{}, false
	}
	var own, others []int // the cells of passed tests, earliest first
	var ln [centres]float64
	var weight [cells]float64 // of the batch's own end, by its tests that failed
	for i := range ln {
		z := (lowest + float64(i*every)*step) / centreSpread
		ln[i] = -z * z / 2
	}
	for j := range weight {
		weight[j] = 1
	}
	for _, t := range tests {
		cell := cellOf(t.AgeH, lifeH)
		switch {
		case !t.Passed && !fromAge(t):
		case t.Passed && t.Batch == batch:
			own = append(own, cell)
		case t.Passed:
			others = append(others, cell)
			add(&ln, &lnPassed[cell], 1)
		case t.Batch == batch:
			for j := cell + 1; j < cells; j++ {
				weight[j] *= wrongFail
			}
		default:
			add(&ln, &lnFailed[cell], 1)
		}
	}
	slices.Sort(own)
	slices.Sort(others)
	var below [cells]float64
	for n := range len(others) + 1 {
		if n > 0 {
			add(&ln, &lnPassed[others[len(others)-n]], -1)
		}
		density := densityOf(&ln)
		for j := range density {
			density[j] *= weight[j]
		}
		for k := range len(own) + 1 {
			first := 0
			if k < len(own) {
				first = own[len(own)-1-k]
			}
			raise(&below, &density, first, n+k)
		}
	}
	return quantiles(below[:], math.Log(lifeH)), true
}

// add adds the logarithms of a likelihood, or takes them away with -1.
func add(ln, of *[centres]float64, sign float64) {
	for i := range ln {
		ln[i] += sign * of[i]
	}
}

// densityOf returns the density over the cells from the logarithms of the weights of the centres.
func densityOf(ln *[centres]float64) (density [cells]float64) {
	most := slices.Max(ln[:])
	for i := range ln {
		if apart := ln[i] - most; apart > -40 { // a smaller weight changes nothing
			w := math.Exp(apart)
			for j, k := range &kernel[i] {
				density[j] += w * k
			}
		}
	}
	return density
}

// raise raises the shares below the cells to those of a density from a first cell on that is made later by so
// many cells.
func raise(below, density *[cells]float64, first, later int) {
	total, sum := 0.0, 0.0
	for _, d := range density[first:] {
		total += d
	}
	if !(total > 0) { // farther out than floating point goes: as early as may be
		density = &[cells]float64{}
		total, density[first] = 1, 1
	}
	for j := first; j+later < cells; j++ {
		sum += density[j]
		below[j+later] = max(below[j+later], min(sum/total, 1))
	}
}

const centres = cells / every

// kernel is the share of the batches of a centre in each cell; the first and the last cell have those beyond too.
// lnPassed and lnFailed are the logarithms of the likelihoods of the centres by a test at the age of a cell.
var kernel, lnPassed, lnFailed = func() (share [centres][cells]float64, passed, failed [cells][centres]float64) {
	for i := range share {
		before := 0.0
		for j := range cells {
			below := 1.0
			if j < cells-1 {
				below = 0.5 * math.Erfc(-(float64(j-i*every)+0.5)*step/Scatter/math.Sqrt2)
			}
			share[i][j] = below - before
			passed[j][i] = math.Log(0.5 * math.Erfc((float64(j-i*every)-0.5)*step/Scatter/math.Sqrt2))
			failed[j][i] = math.Log(below + wrongFail*(1-below))
			before = below
		}
	}
	return share, passed, failed
}()

// cellOf returns the cell of an age.
func cellOf(ageH, lifeH float64) int {
	place := (math.Log(max(ageH, 1e-6)/lifeH) - lowest) / step
	return int(min(max(place, 0), cells-1))
}

// quantiles returns those of a distribution over the cells.
func quantiles(below []float64, lnLife float64) (end End) {
	j, before := 0, 0.0
	for k := range end {
		p := 0.5 * math.Erfc(-Deviate(k)/math.Sqrt2)
		for j < len(below)-1 && below[j] < p {
			before = below[j]
			j++
		}
		part := 1.0
		if below[j] > before {
			part = min(max((p-before)/(below[j]-before), 0), 1)
		}
		end[k] = lnLife + lowest + step*(float64(j)+part)
	}
	return end
}

// Valid reports whether the quantiles rise and are numbers.
func (e End) Valid() bool {
	for k, v := range e {
		if !(math.Abs(v) <= 50) || k > 0 && v < e[k-1] {
			return false
		}
	}
	return true
}

// Quantile returns ln of the age in h below which a share of the batches ends; the inverse of [End.Share].
func (e *End) Quantile(share float64) float64 {
	place := (math.Sqrt2*math.Erfinv(2*share-1) - Deviate(0)) * 2
	k := int(min(max(place, 0), points-2))
	return e[k] + (place-float64(k))*(e[k+1]-e[k])
}

// Share returns the share of batches whose adhesion end lies below exp(ln) hours. Between two quantiles the
// deviate is linear in ln.
func (e *End) Share(ln float64) float64 {
	k := 1
	for k < points-1 && ln > e[k] {
		k++
	}
	width := max(e[k]-e[k-1], 1e-6)
	z := Deviate(k-1) + (ln-e[k-1])/width*0.5
	return 0.5 * math.Erfc(-z/math.Sqrt2)
}
