package quality

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Forecasted is a batch that ended, with the probability that its forecast gave for its being
// past its pot life by then.
type Forecasted struct {
	Risk float64 // 0 to 1
	Gone bool    // it went off then; else it was still good, and would have gone off later
}

// Kept says how forecasts were kept: of batches whose risk was at most X, the share that had
// gone off. Forecasts that are kept have a share of X.
type Kept struct {
	Points []KeptPoint
	// Gone is how many went off, Good how many were still good at their end.
	Gone, Good int
	// Share is that of batches that go off between the risks 10 % and 90 %, that is, between the
	// ends low and high of their forecast; 80 % is promised. NaN while fewer than [FewestGone] have gone off.
	Share    float64
	Interval Interval
}

// KeptPoint is the share that had gone off by a risk, with its interval.
type KeptPoint struct {
	Risk, Share float64
	Interval    Interval
}

// NewKept compares forecasts with ends. A batch that was used up while it was good counts for
// what is known of it, that it had not gone off by its risk: Kaplan and Meier, JASA 53 (1958)
// 457, with Greenwood's variance on the scale of the logarithm of the cumulative hazard, which
// keeps the intervals within 0 and 1. Risks that are not between 0 and 1 are left out.
func NewKept(batches []Forecasted) Kept {
	all := slices.DeleteFunc(slices.Clone(batches), func(b Forecasted) bool { return !(b.Risk >= 0 && b.Risk <= 1) })
	slices.SortFunc(all, func(a, b Forecasted) int { return cmp.Compare(a.Risk, b.Risk) })
	k := Kept{Share: math.NaN(), Interval: Interval{math.NaN(), math.NaN()}}
	alive, variance, least := 1.0, 0.0, 0.0
	z := distuv.UnitNormal.Quantile(1 - (1-Level)/2)
	for i := 0; i < len(all); {
		atRisk, gone, same := len(all)-i, 0, 0
		for ; i+same < len(all) && all[i+same].Risk == all[i].Risk; same++ {
			if all[i+same].Gone {
				gone++
			}
		}
		risk := all[i].Risk
		i += same
		k.Gone += gone
		k.Good += same - gone
		if gone == 0 {
			continue
		}
		n, d := float64(atRisk), float64(gone)
		alive *= 1 - d/n
		p := KeptPoint{Risk: risk, Share: 1 - alive, Interval: Interval{least, 1}} // the last one that is left tells no more than those before it
		if d < n {
			variance += d / (n * (n - d))
			p.Interval = Interval{1 - aliveAt(alive, variance, -z), 1 - aliveAt(alive, variance, z)}
		}
		least = p.Interval.Low
		k.Points = append(k.Points, p)
	}
	k.between(0.1, 0.9)
	return k
}

// aliveAt moves a share alive by z standard errors on the scale log(-log).
func aliveAt(alive, variance, z float64) float64 {
	logAlive := math.Log(alive)
	return math.Exp(logAlive * math.Exp(z*math.Sqrt(variance)/-logAlive))
}

// FewestGone is how many batches have to have gone off before a share is told.
const FewestGone = 10

// between sets the share that goes off between two risks. Its interval takes that share as one
// of as many batches as went off, which censored batches make somewhat too wide.
func (k *Kept) between(low, high float64) {
	if k.Gone < FewestGone {
		return
	}
	at := func(risk float64) float64 {
		share := 0.0
		for _, p := range k.Points {
			if p.Risk <= risk {
				share = p.Share
			}
		}
		return share
	}
	k.Share = at(high) - at(low)
	k.Interval = ShareInterval(k.Share*float64(k.Gone), float64(k.Gone), Level)
}
