package quality

import (
	"maps"
	"math"
	"slices"
)

// Method says how standard errors were computed.
type Method string

// The methods.
const (
	// ByModel: from the likelihood alone, as if each row were independent and scattered as its
	// distribution says.
	ByModel Method = "model"
	// QuasiLikelihood: by the model, widened by the square root of the dispersion.
	QuasiLikelihood Method = "quasi-likelihood"
	// Sandwich: from what whole clusters add to the estimating equations, with the factor
	// G/(G-1) for G clusters: Liang and Zeger, Biometrika 73 (1986) 13.
	Sandwich Method = "cluster-sandwich"
	// Jackknife: from fits that leave one cluster out, in one step each: MacKinnon, Nielsen
	// and Webb, J. Econometrics 232 (2023) 272, CV3. With few clusters, or unequal ones, it
	// is wider than the sandwich and holds its level better.
	Jackknife Method = "cluster-jackknife"
)

// Errors are the standard errors of a fit by one method.
type Errors struct {
	Method Method
	SE     []float64
	DF     float64 // of Student's t; +Inf for the normal distribution

	covariance *symmetric // of the scaled columns
	fit        *Fit
}

// ByModel returns the standard errors that hold when rows are independent and scatter as the
// family says.
func (f *Fit) ByModel() Errors { return f.errors(ByModel, f.covariance, 1, math.Inf(1)) }

// Quasi returns the standard errors that hold when rows are independent and scatter more than
// the family says. They are never smaller than those of the model.
func (f *Fit) Quasi() Errors {
	return f.errors(QuasiLikelihood, f.covariance, max(1, f.Dispersion), f.DF)
}

// Sandwich returns standard errors that hold when rows of one cluster depend on one another.
// There must be at least two clusters.
func (f *Fit) Sandwich() Errors {
	g := float64(f.Clusters)
	meat := newSymmetric(f.w.p)
	for _, c := range f.w.clusters() {
		meat.addOuter(f.covariance.times(f.w.influence(c)))
	}
	return f.errors(Sandwich, meat, g/(g-1), g-1)
}

// Jackknife returns standard errors as Sandwich does, from leaving out each cluster in turn.
// ok is false when the effects cannot be told without one of the clusters.
func (f *Fit) Jackknife() (e Errors, ok bool) {
	g := float64(f.Clusters)
	spread := newSymmetric(f.w.p)
	for _, c := range f.w.clusters() {
		change, ok := f.w.without(c)
		if !ok {
			return Errors{}, false
		}
		spread.addOuter(change)
	}
	return f.errors(Jackknife, spread, (g-1)/g, g-1), true
}

// Best returns the standard errors that the data allow: by clusters where there are at least
// fewestClusters, else those of quasi-likelihood.
func (f *Fit) Best() Errors {
	if f.Clusters < fewestClusters {
		return f.Quasi()
	}
	if e, ok := f.Jackknife(); ok {
		return e
	}
	return f.Sandwich()
}

// fewestClusters is from how many clusters on they tell how much they differ.
const fewestClusters = 5

func (f *Fit) errors(method Method, covariance *symmetric, factor, df float64) Errors {
	e := Errors{Method: method, SE: make([]float64, f.w.p), DF: df, covariance: newSymmetric(f.w.p), fit: f}
	for i, v := range covariance.v {
		e.covariance.v[i] = factor * v
	}
	for j := range e.SE {
		e.SE[j] = math.Sqrt(e.covariance.at(j, j)) / f.scale[j]
	}
	return e
}

// Interval returns the interval of a coefficient.
func (e Errors) Interval(column int, level float64) Interval {
	half := tQuantile((1+level)/2, e.DF) * e.SE[column]
	return Interval{e.fit.Beta[column] - half, e.fit.Beta[column] + half}
}

// P returns the two-sided p value of a coefficient's being 0.
func (e Errors) P(column int) float64 {
	return twoSidedP(e.fit.Beta[column]/e.SE[column], e.DF)
}

// part is a cluster's sums in each of the strata that it is in.
type part map[int]*sums

// clusters returns the sums of each cluster, in the order of the clusters' numbers.
func (w *working) clusters() []part {
	parts := map[int]part{}
	for k, row := range w.rows {
		c, s := w.Cluster[row], w.stratum(row)
		if parts[c] == nil {
			parts[c] = part{}
		}
		if parts[c][s] == nil {
			parts[c][s] = new(newSums(w.p))
		}
		w.add(parts[c][s], k)
	}
	var list []part
	for _, c := range slices.Sorted(maps.Keys(parts)) {
		list = append(list, parts[c])
	}
	return list
}

// influence is what a cluster adds to the estimating equations of the columns, strata taken out.
func (w *working) influence(c part) []float64 {
	score := make([]float64, w.p)
	for _, s := range slices.Sorted(maps.Keys(c)) {
		own, all := c[s], &w.sums[s]
		for j := range score {
			score[j] += own.wxz[j] - all.wx[j]/all.w*own.wz
		}
	}
	return score
}

// without returns by how much the coefficients change, in one step, when a cluster is added to
// the others. Intercepts are estimated without the cluster too.
func (w *working) without(c part) (change []float64, ok bool) {
	information, score := newSymmetric(w.p), make([]float64, w.p)
	copy(information.v, w.information.v)
	copy(information.raw, w.information.raw)
	for _, s := range slices.Sorted(maps.Keys(c)) {
		own, all := c[s], &w.sums[s]
		others := all.less(own)
		information.addCentred(all, -1)
		information.addCentred(&others, 1)
		for j := range score {
			score[j] += own.wxz[j]
			if others.w > 0 {
				score[j] -= others.wx[j] / others.w * own.wz
			}
		}
	}
	root, column := information.cholesky()
	if column >= 0 {
		return nil, false
	}
	return root.solve(score), true
}

// less returns the weights without those of a part. Where almost nothing is left, nothing is:
// the rest is rounding.
func (s *sums) less(part *sums) sums {
	rest := newSums(len(s.wx))
	rest.w = s.w - part.w
	if rest.w <= 1e-12*s.w {
		rest.w = 0
		return rest
	}
	for i := range s.wx {
		rest.wx[i] = s.wx[i] - part.wx[i]
	}
	for i := range s.wxx {
		rest.wxx[i] = s.wxx[i] - part.wxx[i]
	}
	return rest
}
