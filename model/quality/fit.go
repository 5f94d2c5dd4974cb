package quality

import (
	"errors"
	"fmt"
	"math"
)

// Family is the distribution of the counts of a [Model].
type Family int

// The families.
const (
	// Poisson counts with a log link: effects are ratios of rates.
	Poisson Family = iota
	// Binomial counts with a logit link: effects are ratios of odds, and no count is above
	// its exposure.
	Binomial
)

// Model is a regression of counts on columns. Each stratum, such as a press, has an intercept
// of its own, so that strata are compared only with themselves.
type Model struct {
	Family   Family
	Columns  []string
	X        []float64 // rows one after the other, each with a value for each column
	Count    []float64 // events
	Exposure []float64 // prints; a row without any is left out
	Stratum  []int     // from 0; nil for one stratum
	Cluster  []int     // from 0; nil when each row is independent of all others

	scratch  *scratch // nil for memory of its own
	pause    func()   // called between steps; may be nil
	lossOnly bool     // nothing but the loss is wanted: no step is taken that would hardly change it
}

// Errors of [Model.Fit] for data that cannot say anything.
var (
	// errNoEvents: no stratum has an event, or none has anything else.
	errNoEvents = errors.New("no events")
	// errNotConverged: the likelihood has no maximum that the steps reach.
	errNotConverged = errors.New("the fit does not converge")
)

// aliasedError says that a column does not vary within strata, or is a sum of others.
type aliasedError struct{ Column string }

func (e *aliasedError) Error() string {
	return fmt.Sprintf("%s does not vary on its own", e.Column)
}

// separatedError says that a column's effect has no estimate: the events are all on one side.
type separatedError struct{ Column string }

func (e *separatedError) Error() string {
	return fmt.Sprintf("all events are on one side of %s: its effect has no limit", e.Column)
}

// Fit is a fitted [Model]. Coefficients are on the scale of the link, for one unit of a column.
type Fit struct {
	Columns    []string
	Beta       []float64
	SE         []float64 // as the family says, without over-dispersion
	Rows       int
	Events     float64
	Deviance   float64
	Pearson    float64 // sum of squared Pearson residuals
	DF         float64 // rows less parameters
	Dispersion float64 // Pearson/DF; 1 when the counts scatter as the family says
	Clusters   int

	intercepts, interceptSEs []float64 // NaN for a stratum that was left out
	scale                    []float64 // of each column
	covariance               *symmetric
	w                        *working
}

// Intercept returns the intercept of a stratum with its standard error; NaN when the stratum
// has no events.
func (f *Fit) Intercept(stratum int) (value, se float64) {
	return f.intercepts[stratum], f.interceptSEs[stratum]
}

const (
	mostSteps = 60
	// converged is the relative change of the loss at which the steps end.
	converged = 1e-12
	// aliased is the share of a column's variation that others must leave unexplained.
	aliased = 1e-10
	// separated is the standard error of a column's effect, in its standard deviations, from
	// which the effect has no estimate.
	separated = 50
)

// Fit estimates the model by iteratively reweighted least squares: McCullagh and Nelder,
// Generalized Linear Models, 2nd ed. 1989, section 2.5. The intercepts of the strata are taken
// out of each step exactly, so their number costs nothing. A stratum without events, or with
// nothing else, says nothing about the columns and is left out. The error names the
// column that is aliased or separated, or says that there are no events or that the steps did not
// converge.
func (m Model) Fit() (*Fit, error) {
	w, err := m.settle(nil, converged)
	if err != nil {
		return nil, err
	}
	return w.result(), nil
}

// settle returns the state at the end of a fit, which is converged when the loss changes by less than a share
// of it. It begins where the fit of nearly the same model ended; nil begins at no effect.
func (m Model) settle(near *working, converged float64) (*working, error) {
	w, err := m.working()
	if err != nil {
		return nil, err
	}
	if near != nil {
		w.begin(near)
	}
	if err := w.iterate(converged); err != nil {
		return nil, err
	}
	root, _ := w.information.cholesky()
	w.covariance = root.inverse()
	for j, name := range m.Columns {
		if math.Sqrt(w.covariance.at(j, j)) > separated {
			return nil, &separatedError{name}
		}
	}
	return w, nil
}

// result turns the last step into a Fit, in the columns' own units.
func (w *working) result() *Fit {
	f := &Fit{
		Columns: w.Columns, Beta: make([]float64, w.p), SE: make([]float64, w.p), Rows: len(w.rows),
		intercepts: make([]float64, w.strata), interceptSEs: make([]float64, w.strata), scale: w.scale, w: w,
	}
	f.covariance = w.covariance
	for j := range w.beta {
		f.Beta[j] = w.beta[j] / w.scale[j]
		f.SE[j] = math.Sqrt(f.covariance.at(j, j)) / w.scale[j]
	}
	used := 0
	for s := range w.alpha {
		f.intercepts[s], f.interceptSEs[s] = math.NaN(), math.NaN()
		if math.IsNaN(w.alpha[s]) {
			continue
		}
		used++
		f.intercepts[s] = w.alpha[s]
		at := make([]float64, w.p) // where the intercept is, from the stratum's mean
		for j := range at {
			f.intercepts[s] -= f.Beta[j] * w.centre[j]
			at[j] = -w.centre[j]/w.scale[j] - w.sums[s].wx[j]/w.sums[s].w
		}
		f.interceptSEs[s] = math.Sqrt(1/w.sums[s].w + f.covariance.form(at))
	}
	for k, row := range w.rows {
		y, n, mu := w.Count[row], w.Exposure[row], w.mean[k]
		f.Events += y
		if w.weight[k] > 0 {
			f.Pearson += (y - mu) * (y - mu) / w.weight[k]
		}
		f.Deviance += 2 * xLogRatio(y, mu)
		if w.Family == Binomial {
			f.Deviance += 2 * xLogRatio(n-y, n-mu)
		} else {
			f.Deviance -= 2 * (y - mu)
		}
	}
	f.DF = float64(len(w.rows) - w.p - used)
	f.Dispersion = f.Pearson / f.DF
	if w.Cluster != nil {
		seen := map[int]bool{}
		for _, row := range w.rows {
			seen[w.Cluster[row]] = true
		}
		f.Clusters = len(seen)
	}
	return f
}

// LogLik returns the log-likelihood.
func (f *Fit) LogLik() float64 {
	sum := 0.0
	for k, row := range f.w.rows {
		sum += f.w.logLik(f.w.Count[row], f.w.Exposure[row], f.w.mean[k])
	}
	return sum
}

func (w *working) logLik(y, n, mu float64) float64 {
	gamma := func(x float64) float64 { g, _ := math.Lgamma(x); return g }
	if w.Family == Binomial {
		l := gamma(n+1) - gamma(y+1) - gamma(n-y+1)
		if y > 0 {
			l += y * math.Log(mu/n)
		}
		if y < n {
			l += (n - y) * math.Log1p(-mu/n)
		}
		return l
	}
	l := -mu - gamma(y+1)
	if y > 0 {
		l += y * math.Log(mu)
	}
	return l
}
