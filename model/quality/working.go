package quality

import (
	"math"
	"slices"
)

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
	decrease      float64    // of the loss by the newest step, as the step before it foresees: Newton's decrement
	information   *symmetric // of the columns, strata taken out
	covariance    *symmetric // of the columns, at the end
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
	b := m.scratch
	if b == nil {
		b = &scratch{}
	}
	w.rows = b.rows[:0]
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
		return nil, errNoEvents
	}
	n := len(w.rows)
	b.rows, b.standard, b.mean, b.weight = w.rows, slices.Grow(b.standard[:0], n*w.p)[:n*w.p], slices.Grow(b.mean[:0], n)[:n], slices.Grow(b.weight[:0], n)[:n]
	w.x, w.mean, w.weight = b.standard, b.mean, b.weight
	w.standardise()
	w.beta, w.alpha = make([]float64, w.p), make([]float64, w.strata)
	for s := range w.alpha {
		w.alpha[s] = math.NaN()
		if told(s) {
			w.alpha[s] = m.link(events[s] / exposure[s])
		}
	}
	w.information = newSymmetric(w.p)
	w.sums = make([]sums, w.strata)
	for s := range w.sums {
		w.sums[s] = newSums(w.p)
	}
	return w, nil
}

// begin sets the coefficients to those of another fit.
func (w *working) begin(near *working) {
	for j, b := range near.beta {
		w.beta[j] = b / near.scale[j] * w.scale[j]
	}
	for s := range w.alpha {
		if math.IsNaN(w.alpha[s]) || math.IsNaN(near.alpha[s]) {
			continue
		}
		w.alpha[s] = near.alpha[s]
		for j, b := range near.beta {
			w.alpha[s] += b / near.scale[j] * (w.centre[j] - near.centre[j])
		}
	}
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

// iterate repeats steps until the loss changes by less than a share of it. A step that makes it larger is
// halved.
func (w *working) iterate(converged float64) error {
	w.predict()
	for step := range mostSteps {
		if w.pause != nil {
			w.pause()
		}
		beta, alpha, before := slices.Clone(w.beta), slices.Clone(w.alpha), w.loss
		if column := w.step(); column >= 0 && step == 0 {
			return &aliasedError{w.Columns[column]}
		} else if column >= 0 { // it varied while all rows of a stratum had the same rate
			return &separatedError{w.Columns[column]}
		}
		if w.lossOnly && w.decrease <= converged*(math.Abs(w.loss)+0.1) {
			return nil
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
	return errNotConverged
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
	w.decrease = dot(gradient, change)
	for j, d := range change {
		w.beta[j] += d
	}
	for s := range w.sums {
		t := &w.sums[s]
		if t.w == 0 {
			continue
		}
		w.decrease += t.wz * t.wz / t.w
		w.alpha[s] += t.wz / t.w
		for j, d := range change {
			w.alpha[s] -= d * t.wx[j] / t.w
		}
	}
	return -1
}
