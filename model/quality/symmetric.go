package quality

import (
	"math"
	"slices"
)

// symmetric is a symmetric matrix of which the lower triangle is kept. The matrices here have a
// handful of rows and are made for each cluster, so they are kept as plain values.
type symmetric struct {
	n int
	v []float64
	// raw is what the diagonal was before strata were taken out: rounding is judged against it.
	raw []float64
}

func newSymmetric(n int) *symmetric {
	return &symmetric{n: n, v: make([]float64, n*n), raw: make([]float64, n)}
}

func (m *symmetric) at(i, j int) float64 {
	if i < j {
		i, j = j, i
	}
	return m.v[i*m.n+j]
}

func (m *symmetric) zero() { clear(m.v); clear(m.raw) }

// addCentred adds the weighted variation of columns around the mean of a stratum, times a factor.
func (m *symmetric) addCentred(s *sums, factor float64) {
	if s.w <= 0 {
		return
	}
	for i := range m.n {
		m.raw[i] += factor * s.wxx[i*m.n+i]
		for j := 0; j <= i; j++ {
			m.v[i*m.n+j] += factor * (s.wxx[i*m.n+j] - s.wx[i]*s.wx[j]/s.w)
		}
	}
}

// addAround adds the weighted variation of columns in a part of a stratum around the mean of the
// whole stratum.
func (m *symmetric) addAround(part, whole *sums) {
	for i := range m.n {
		mi := whole.wx[i] / whole.w
		for j := 0; j <= i; j++ {
			mj := whole.wx[j] / whole.w
			m.v[i*m.n+j] += part.wxx[i*m.n+j] - mi*part.wx[j] - mj*part.wx[i] + mi*mj*part.w
		}
	}
}

// addOuter adds x·xᵀ.
func (m *symmetric) addOuter(x []float64) {
	for i := range m.n {
		for j := 0; j <= i; j++ {
			m.v[i*m.n+j] += x[i] * x[j]
		}
	}
}

// form returns xᵀ·m·x.
func (m *symmetric) form(x []float64) float64 {
	sum := 0.0
	for i := range m.n {
		for j := range m.n {
			sum += x[i] * m.at(i, j) * x[j]
		}
	}
	return sum
}

// times returns m·x.
func (m *symmetric) times(x []float64) []float64 {
	y := make([]float64, m.n)
	for i := range y {
		for j, v := range x {
			y[i] += m.at(i, j) * v
		}
	}
	return y
}

// triangle is the lower factor of Cholesky.
type triangle struct {
	n int
	v []float64
}

// cholesky factors the matrix. The column is the first that the ones before it explain, and -1
// when there is none.
func (m *symmetric) cholesky() (root triangle, column int) {
	root = triangle{m.n, make([]float64, m.n*m.n)}
	for i := range m.n {
		for j := 0; j <= i; j++ {
			sum := m.v[i*m.n+j]
			for k := range j {
				sum -= root.v[i*m.n+k] * root.v[j*m.n+k]
			}
			if i > j {
				root.v[i*m.n+j] = sum / root.v[j*m.n+j]
				continue
			}
			if !(sum > aliased*m.raw[i]) { // NaN is not
				return root, i
			}
			root.v[i*m.n+i] = math.Sqrt(sum)
		}
	}
	return root, -1
}

// solve returns the x for which the factored matrix times x is b.
func (r triangle) solve(b []float64) []float64 {
	x := make([]float64, r.n)
	for i := range x {
		x[i] = b[i]
		for k := range i {
			x[i] -= r.v[i*r.n+k] * x[k]
		}
		x[i] /= r.v[i*r.n+i]
	}
	return r.back(x)
}

// back returns the x for which the factor's transpose times x is b.
func (r triangle) back(b []float64) []float64 {
	x := slices.Clone(b)
	for i := r.n - 1; i >= 0; i-- {
		for k := i + 1; k < r.n; k++ {
			x[i] -= r.v[k*r.n+i] * x[k]
		}
		x[i] /= r.v[i*r.n+i]
	}
	return x
}

// inverse returns the inverse of the factored matrix.
func (r triangle) inverse() *symmetric {
	m := newSymmetric(r.n)
	unit := make([]float64, r.n)
	for j := range r.n {
		clear(unit)
		unit[j] = 1
		for i, v := range r.solve(unit) {
			if i >= j {
				m.v[i*r.n+j] = v
			}
		}
	}
	return m
}
