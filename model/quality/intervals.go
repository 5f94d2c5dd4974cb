package quality

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a confidence interval. High may be +Inf.
type Interval struct{ Low, High float64 }

// Level is the confidence of every interval that the study shows.
const Level = 0.95

// CountInterval returns the exact interval for the mean of a Poisson count: Garwood, Biometrika
// 28 (1936) 437. The count may be an effective one and need not be whole. It covers the mean at
// least as often as level says.
func CountInterval(count, level float64) Interval {
	tail := (1 - level) / 2
	i := Interval{High: distuv.ChiSquared{K: 2*count + 2}.Quantile(1-tail) / 2}
	if count > 0 {
		i.Low = distuv.ChiSquared{K: 2 * count}.Quantile(tail) / 2
	}
	return i
}

// rateInterval returns the exact interval for count/exposure, with count as a Poisson count.
func rateInterval(count, exposure, level float64) Interval {
	i := CountInterval(count, level)
	return Interval{i.Low / exposure, i.High / exposure}
}

// ShareInterval returns the exact interval for a share of successes among trials: Clopper and
// Pearson, Biometrika 26 (1934) 404. Both may be effective numbers that are not whole, as in
// Korn and Graubard, Survey Methodology 24 (1998) 193.
func ShareInterval(successes, trials, level float64) Interval {
	tail := (1 - level) / 2
	i := Interval{Low: 0, High: 1}
	if successes > 0 {
		i.Low = distuv.Beta{Alpha: successes, Beta: trials - successes + 1}.Quantile(tail)
	}
	if successes < trials {
		i.High = distuv.Beta{Alpha: successes + 1, Beta: trials - successes}.Quantile(1 - tail)
	}
	return i
}

func normalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// tQuantile is the quantile of Student's t; that of the normal distribution without degrees of
// freedom.
func tQuantile(p, df float64) float64 {
	if math.IsInf(df, 1) {
		return normalQuantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// twoSidedP is the p value of a t statistic.
func twoSidedP(t, df float64) float64 {
	if math.IsInf(df, 1) {
		return 2 * distuv.UnitNormal.CDF(-math.Abs(t))
	}
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.CDF(-math.Abs(t))
}
