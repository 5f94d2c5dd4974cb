package quality

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
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
	// BiasReduced: as the sandwich, with each cluster's part enlarged by what the cluster
	// itself pulls the fit towards it, and with the degrees of freedom of Satterthwaite: Bell
	// and McCaffrey, Survey Methodology 28 (2002) 169; Pustejovsky and Tipton, J. Business &
	// Economic Statistics 36 (2018) 672. It holds its level with few or unequal clusters,
	// where the sandwich is too narrow.
	BiasReduced Method = "cluster-bias-reduced"
)

// Errors are the standard errors of a fit by one method.
type Errors struct {
	Method Method
	SE     []float64
	DF     []float64 // of Student's t; +Inf for the normal distribution

	fit *Fit
}

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

// BiasReduced returns standard errors as Sandwich does, for few clusters. Strata are taken as
// known in what a cluster pulls the fit towards it.
func (f *Fit) BiasReduced() Errors {
	meat := newSymmetric(f.w.p)
	clusters := f.w.clusters()
	root := f.w.root()
	for _, c := range clusters {
		meat.addOuter(enlarged(root, f.w.pull(c), f.w.influence(c)))
	}
	e := f.errors(BiasReduced, meat, 1, 0)
	for j := range e.DF {
		e.DF[j] = f.satterthwaite(clusters, j)
	}
	return e
}

// satterthwaite returns how many degrees of freedom the bias-reduced error of a column has: fewer
// than clusters less one where some clusters tell most about the column. The variance of a
// cluster's part is that of counts that scatter as the family says, and of an effect that all
// rows of the cluster have in common, whose own variance makes the sum right.
func (f *Fit) satterthwaite(clusters []part, column int) float64 {
	w := f.w
	row := make([]float64, w.p)
	for j := range row {
		row[j] = f.covariance.at(column, j)
	}
	own, common := make([]float64, len(clusters)), make([]float64, len(clusters))
	excess, shared := 0.0, 0.0
	for k, c := range clusters {
		together := make([]float64, w.p)
		for _, own := range c {
			all := &w.sums[own.stratum]
			for j := range together {
				together[j] += own.wx[j] - all.wx[j]/all.w*own.w
			}
		}
		own[k] = w.pull(c).form(row)
		common[k] = math.Pow(dot(row, together), 2)
		excess += math.Pow(dot(row, w.influence(c)), 2) - own[k]
		shared += common[k]
	}
	variance := 0.0
	if shared > 0 {
		variance = max(0, excess/shared)
	}
	sum, square := 0.0, 0.0
	for k := range clusters {
		leverage := own[k] / f.covariance.at(column, column)
		v := (own[k] + variance*common[k]) / max(1e-3, 1-leverage)
		sum += v
		square += v * v
	}
	return max(1, min(float64(len(clusters)-1), sum*sum/square))
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

// best returns the standard errors that the data allow: by clusters where there are at least
// fewestClusters, else those of quasi-likelihood. It returns false where the data allow none: with no
// more rows than coefficients, or with an information matrix that is singular to rounding, as where
// one of the other columns separates the defects.
func (f *Fit) best() (Errors, bool) {
	if f.DF < 1 {
		return Errors{}, false
	}
	errs := f.Quasi()
	if f.Clusters >= fewestClusters {
		errs = f.BiasReduced()
	}
	for j, se := range errs.SE {
		if !(se > 0) || !(f.SE[j] > 0) {
			return Errors{}, false
		}
	}
	return errs, true
}

// fewestClusters is from how many clusters on they tell how much they differ.
const fewestClusters = 5

func (f *Fit) errors(method Method, covariance *symmetric, factor, df float64) Errors {
	e := Errors{Method: method, SE: make([]float64, f.w.p), DF: slices.Repeat([]float64{df}, f.w.p), fit: f}
	for j := range e.SE {
		e.SE[j] = math.Sqrt(factor*covariance.at(j, j)) / f.scale[j]
	}
	return e
}

// interval returns the interval of a coefficient.
func (e Errors) interval(column int, level float64) Interval {
	half := tQuantile((1+level)/2, e.DF[column]) * e.SE[column]
	return Interval{e.fit.Beta[column] - half, e.fit.Beta[column] + half}
}

// P returns the two-sided p value of a coefficient's being 0.
func (e Errors) P(column int) float64 {
	return twoSidedP(e.fit.Beta[column]/e.SE[column], e.DF[column])
}

// part holds a cluster's sums in each of the few strata that it is in.
type part []*inStratum

type inStratum struct {
	stratum int
	sums
}

// of returns the sums of a stratum.
func (p *part) of(stratum, columns int) *sums {
	for _, s := range *p {
		if s.stratum == stratum {
			return &s.sums
		}
	}
	s := &inStratum{stratum, newSums(columns)}
	*p = append(*p, s)
	return &s.sums
}

// clusters returns the sums of each cluster that has rows, in the order of the clusters' numbers.
func (w *working) clusters() []part {
	parts := make([]part, slices.Max(w.Cluster)+1)
	for k, row := range w.rows {
		w.add(parts[w.Cluster[row]].of(w.stratum(row), w.p), k)
	}
	return slices.DeleteFunc(parts, func(p part) bool { return len(p) == 0 })
}

// influence is what a cluster adds to the estimating equations of the columns, strata taken out.
func (w *working) influence(c part) []float64 {
	score := make([]float64, w.p)
	for _, own := range c {
		all := &w.sums[own.stratum]
		for j := range score {
			score[j] += own.wxz[j] - all.wx[j]/all.w*own.wz
		}
	}
	return score
}

// pull is the information of a cluster about the columns, strata taken out.
func (w *working) pull(c part) *symmetric {
	information := newSymmetric(w.p)
	for _, own := range c {
		information.addAround(&own.sums, &w.sums[own.stratum])
	}
	return information
}

// root returns the columns of the L for which L·Lᵀ is the covariance.
func (w *working) root() [][]float64 {
	root, _ := w.information.cholesky() // of the information: R·Rᵀ, so L is R⁻ᵀ
	columns := make([][]float64, w.p)
	for j := range columns {
		unit := make([]float64, w.p)
		unit[j] = 1
		columns[j] = root.back(unit)
	}
	return columns
}

// enlarged returns by how much a cluster changes the coefficients, enlarged by the root of the
// inverse of what it leaves to others: L·(1-Lᵀ·pull·L)^(-1/2)·Lᵀ·score. A direction that no other
// cluster tells adds nothing.
func enlarged(root [][]float64, pull *symmetric, score []float64) []float64 {
	left := mat.NewSymDense(len(root), nil)
	for i := range root {
		times := pull.times(root[i])
		for j := i; j < len(root); j++ {
			left.SetSym(i, j, -dot(times, root[j]))
		}
		left.SetSym(i, i, left.At(i, i)+1)
	}
	var eigen mat.EigenSym
	eigen.Factorize(left, true)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	change := make([]float64, len(root))
	for k, value := range eigen.Values(nil) {
		if value < aliased {
			continue
		}
		direction := make([]float64, len(root)) // L times the eigenvector
		for j, column := range root {
			for i := range direction {
				direction[i] += column[i] * vectors.At(j, k)
			}
		}
		size := dot(direction, score) / math.Sqrt(value)
		for i := range change {
			change[i] += size * direction[i]
		}
	}
	return change
}
