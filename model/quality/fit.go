package quality

import (
	"errors"
	"fmt"
	"math"
	"slices"
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
}

// Errors of [Model.Fit] for data that cannot say anything.
var (
	// ErrNoEvents: no stratum has an event, or none has anything else.
	ErrNoEvents = errors.New("no events")
	// ErrNotConverged: the likelihood has no maximum that the steps reach.
	ErrNotConverged = errors.New("the fit does not converge")
)

// AliasedError says that a column does not vary within strata, or is a sum of others.
type AliasedError struct{ Column string }

func (e *AliasedError) Error() string {
	return fmt.Sprintf("%s does not vary on its own", e.Column)
}

// SeparatedError says that a column's effect has no estimate: the events are all on one side.
type SeparatedError struct{ Column string }

func (e *SeparatedError) Error() string {
	return fmt.Sprintf("all events are on one side of %s: its effect has no limit", e.Column)
}

// Fit is a fitted [Model]. Coefficients are on the scale of the link, for one unit of a column.
type Fit struct {
	Columns    []string
	Beta       []float64
	SE         []float64 // as the family says, without over-dispersion
	Rows       int
	Events     float64
	LogLik     float64
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
// nothing else, says nothing about the columns and is left out. The error is ErrNoEvents,
// ErrNotConverged, an *AliasedError or a *SeparatedError.
func (m Model) Fit() (*Fit, error) {
	w, err := m.working()
	if err != nil {
		return nil, err
	}
	if err := w.iterate(); err != nil {
		return nil, err
	}
	f := w.result()
	for j, se := range f.SE {
		if se*w.scale[j] > separated {
			return nil, &SeparatedError{m.Columns[j]}
		}
	}
	return f, nil
}

// working is the state of a fit. Columns are centred and scaled, so that the steps are well
// conditioned whatever the units.
type working struct {
	Model
	p             int
	rows          []int // those that are used
	x             []float64
	centre, scale []float64
	strata        int
	beta          []float64
	alpha         []float64
	mean, weight  []float64  // of each used row
	loss          float64    // minus twice the log-likelihood, without what no coefficient changes
	information   *symmetric // of the columns, strata taken out
	sums          []sums     // of each stratum
}

// sums are weighted sums over the rows of a stratum, or of a cluster in a stratum.
type sums struct {
	w, wz   float64
	wx, wxz []float64
	wxx     []float64 // p×p
}

func newSums(p int) sums {
	all := make([]float64, p*(p+2))
	return sums{wx: all[:p], wxz: all[p : 2*p], wxx: all[2*p:]}
}

func (s *sums) zero() {
	s.w, s.wz = 0, 0
	clear(s.wx)
	clear(s.wxz)
	clear(s.wxx)
}

func (m Model) working() (*working, error) {
	w := &working{Model: m, p: len(m.Columns), strata: 1}
	if m.Stratum != nil {
		w.strata = slices.Max(append([]int{0}, m.Stratum...)) + 1
	}
	events, exposure := make([]float64, w.strata), make([]float64, w.strata)
	for i, n := range m.Exposure {
		if n > 0 {
			events[w.stratum(i)] += m.Count[i]
			exposure[w.stratum(i)] += n
		}
	}
	told := func(s int) bool {
		return events[s] > 0 && (m.Family == Poisson || events[s] < exposure[s])
	}
	for i, n := range m.Exposure {
		if n > 0 && told(w.stratum(i)) {
			w.rows = append(w.rows, i)
		}
	}
	if len(w.rows) == 0 {
		return nil, ErrNoEvents
	}
	w.standardise()
	w.beta, w.alpha = make([]float64, w.p), make([]float64, w.strata)
	for s := range w.alpha {
		w.alpha[s] = math.NaN()
		if told(s) {
			w.alpha[s] = m.link(events[s] / exposure[s])
		}
	}
	w.mean, w.weight = make([]float64, len(w.rows)), make([]float64, len(w.rows))
	w.information = newSymmetric(w.p)
	w.sums = make([]sums, w.strata)
	for s := range w.sums {
		w.sums[s] = newSums(w.p)
	}
	return w, nil
}

func (w *working) stratum(row int) int {
	if w.Stratum == nil {
		return 0
	}
	return w.Stratum[row]
}

func (m Model) link(rate float64) float64 {
	if m.Family == Binomial {
		return math.Log(rate / (1 - rate))
	}
	return math.Log(rate)
}

// standardise centres and scales the columns of the rows in use.
func (w *working) standardise() {
	n := float64(len(w.rows))
	w.x = make([]float64, len(w.rows)*w.p)
	w.centre, w.scale = make([]float64, w.p), make([]float64, w.p)
	for j := range w.p {
		for _, row := range w.rows {
			w.centre[j] += w.X[row*w.p+j] / n
		}
		for _, row := range w.rows {
			d := w.X[row*w.p+j] - w.centre[j]
			w.scale[j] += d * d / n
		}
		w.scale[j] = math.Sqrt(w.scale[j])
		if w.scale[j] == 0 {
			w.scale[j] = 1
		}
		for k, row := range w.rows {
			w.x[k*w.p+j] = (w.X[row*w.p+j] - w.centre[j]) / w.scale[j]
		}
	}
}

// iterate repeats steps until the loss no longer changes. A step that makes it larger is
// halved.
func (w *working) iterate() error {
	w.predict()
	for step := range mostSteps {
		beta, alpha, before := slices.Clone(w.beta), slices.Clone(w.alpha), w.loss
		if column := w.step(); column >= 0 && step == 0 {
			return &AliasedError{w.Columns[column]}
		} else if column >= 0 { // it varied while all rows of a stratum had the same rate
			return &SeparatedError{w.Columns[column]}
		}
		for range 30 {
			w.predict()
			if w.loss <= before+converged*math.Abs(before) { // NaN is not
				break
			}
			for j := range w.beta {
				w.beta[j] = (w.beta[j] + beta[j]) / 2
			}
			for s := range w.alpha {
				w.alpha[s] = (w.alpha[s] + alpha[s]) / 2
			}
		}
		if math.Abs(w.loss-before) <= converged*(math.Abs(w.loss)+0.1) {
			w.accumulate()
			return nil
		}
	}
	return ErrNotConverged
}

// predict computes mean, weight and loss of the rows.
func (w *working) predict() {
	w.loss = 0
	for k, row := range w.rows {
		eta := w.alpha[w.stratum(row)]
		for j, b := range w.beta {
			eta += b * w.x[k*w.p+j]
		}
		n, y := w.Exposure[row], w.Count[row]
		if w.Family == Binomial {
			share := 1 / (1 + math.Exp(-eta))
			w.mean[k], w.weight[k] = n*share, n*share*(1-share)
			w.loss -= 2 * (y*eta - n*(math.Max(eta, 0)+math.Log1p(math.Exp(-math.Abs(eta)))))
			continue
		}
		mu := n * math.Exp(eta)
		w.mean[k], w.weight[k] = mu, mu
		w.loss -= 2 * (y*eta - mu)
	}
}

func xLogRatio(x, y float64) float64 {
	if x == 0 {
		return 0
	}
	return x * math.Log(x/y)
}

// accumulate fills the sums of the strata and the information of the columns.
func (w *working) accumulate() {
	for s := range w.sums {
		w.sums[s].zero()
	}
	for k, row := range w.rows {
		w.add(&w.sums[w.stratum(row)], k)
	}
	w.information.zero()
	for s := range w.sums {
		w.information.addCentred(&w.sums[s], 1)
	}
}

// add adds a row to sums. The working response is without the stratum's intercept and without
// the columns' present effect: what is left to explain.
func (w *working) add(s *sums, k int) {
	residual, weight := w.Count[w.rows[k]]-w.mean[k], w.weight[k]
	x := w.x[k*w.p : (k+1)*w.p]
	s.w += weight
	s.wz += residual
	for i, v := range x {
		s.wx[i] += weight * v
		s.wxz[i] += residual * v
		for j := 0; j <= i; j++ {
			s.wxx[i*w.p+j] += weight * v * x[j]
		}
	}
}

// step improves coefficients and intercepts once. The column is one that does not vary on its
// own, else -1.
func (w *working) step() (column int) {
	w.accumulate()
	gradient := make([]float64, w.p)
	for s := range w.sums {
		t := &w.sums[s]
		if t.w == 0 {
			continue
		}
		for j := range gradient {
			gradient[j] += t.wxz[j] - t.wx[j]*t.wz/t.w
		}
	}
	root, column := w.information.cholesky()
	if column >= 0 {
		return column
	}
	change := root.solve(gradient)
	for j, d := range change {
		w.beta[j] += d
	}
	for s := range w.sums {
		t := &w.sums[s]
		if t.w == 0 {
			continue
		}
		w.alpha[s] += t.wz / t.w
		for j, d := range change {
			w.alpha[s] -= d * t.wx[j] / t.w
		}
	}
	return -1
}

// result turns the last step into a Fit, in the columns' own units.
func (w *working) result() *Fit {
	f := &Fit{
		Columns: w.Columns, Beta: make([]float64, w.p), SE: make([]float64, w.p), Rows: len(w.rows),
		intercepts: make([]float64, w.strata), interceptSEs: make([]float64, w.strata), scale: w.scale, w: w,
	}
	root, _ := w.information.cholesky()
	f.covariance = root.inverse()
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
		f.LogLik += w.logLik(y, n, mu)
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
