package quality

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// dobson is the randomised trial in Dobson, An Introduction to Generalized Linear Models, 1990,
// as in the help of R's glm.
func dobson() Model {
	m := Model{Columns: []string{"outcome2", "outcome3", "treatment2", "treatment3"}}
	for i, count := range []float64{18, 17, 15, 20, 10, 20, 25, 13, 12} {
		row := make([]float64, 4)
		if o := i % 3; o > 0 {
			row[o-1] = 1
		}
		if tr := i / 3; tr > 0 {
			row[1+tr] = 1
		}
		m.X, m.Count, m.Exposure = append(m.X, row...), append(m.Count, count), append(m.Exposure, 1)
	}
	return m
}

func TestPoissonRegression(t *testing.T) {
	f, err := dobson().Fit()
	if err != nil {
		t.Fatal(err)
	}
	// R glm, digits as printed.
	for j, want := range []float64{-0.454255, -0.292987, 0, 0} {
		near(t, f.Columns[j], f.Beta[j], want, 5e-7)
	}
	for j, want := range []float64{0.202171, 0.192742, 0.2, 0.2} {
		near(t, "se of "+f.Columns[j], f.SE[j], want, 5e-7)
	}
	intercept, se := f.Intercept(0)
	near(t, "intercept", intercept, 3.044522, 5e-7)
	near(t, "se of intercept", se, 0.170899, 5e-7)
	near(t, "deviance", f.Deviance, 5.129141, 5e-7)
	near(t, "log-likelihood", f.LogLik(), -23.380659, 5e-7)
	near(t, "degrees of freedom", f.DF, 4, 0)
}

func TestLogisticRegression(t *testing.T) {
	m := Model{Family: Binomial, Columns: []string{"wt"}}
	// R's mtcars: weight in 1000 lb, and whether the gearbox is manual (Henderson and Velleman 1981).
	m.X = []float64{2.620, 2.875, 2.320, 3.215, 3.440, 3.460, 3.570, 3.190, 3.150, 3.440, 3.440, 4.070, 3.730, 3.780, 5.250, 5.424,
		5.345, 2.200, 1.615, 1.835, 2.465, 3.520, 3.435, 3.840, 3.845, 1.935, 2.140, 1.513, 3.170, 2.770, 3.570, 2.780}
	m.Count = []float64{1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1}
	for range m.Count {
		m.Exposure = append(m.Exposure, 1)
	}
	f, err := m.Fit()
	if err != nil {
		t.Fatal(err)
	}
	intercept, se := f.Intercept(0)
	// R glm(am ~ wt, binomial, control = list(epsilon = 1e-14)). With its usual epsilon, 1e-8, R
	// computes the errors one step before the end: 4.509706 and 1.436416.
	near(t, "intercept", intercept, 12.040370, 5e-7)
	near(t, "wt", f.Beta[0], -4.023970, 5e-7)
	near(t, "se of intercept", se, 4.510066, 5e-7)
	near(t, "se of wt", f.SE[0], 1.436528, 5e-7)
	near(t, "deviance", f.Deviance, 19.176085, 5e-7)
	near(t, "log-likelihood", f.LogLik(), -f.Deviance/2, 1e-9)
}

// drawn is a model with strata and clusters, counts drawn around known effects.
func drawn(seed uint64, strata int) Model {
	r := rand.New(rand.NewPCG(seed, 1))
	m := Model{Columns: []string{"a", "b"}}
	for c := range 12 {
		shift := 0.4 * r.NormFloat64()
		for range 10 {
			a, b, s := r.NormFloat64(), 5+r.Float64(), r.IntN(strata)
			n := 50 + 100*r.Float64()
			m.X = append(m.X, a, b)
			m.Stratum, m.Cluster = append(m.Stratum, s), append(m.Cluster, c)
			m.Exposure = append(m.Exposure, n)
			m.Count = append(m.Count, poisson(r, n*math.Exp(-6+0.3*a+0.4*b+0.2*float64(s)+shift)))
		}
	}
	return m
}

func poisson(r *rand.Rand, mean float64) float64 {
	k, limit, product := 0, math.Exp(-mean), r.Float64()
	for product > limit {
		k++
		product *= r.Float64()
	}
	return float64(k)
}

// asColumns turns strata into columns of 0 and 1.
func asColumns(m Model, strata int) Model {
	wide := Model{Family: m.Family, Count: m.Count, Exposure: m.Exposure, Cluster: m.Cluster, Columns: m.Columns[:len(m.Columns):len(m.Columns)]}
	for range strata - 1 {
		wide.Columns = append(wide.Columns, "stratum")
	}
	p := len(m.Columns)
	for i, s := range m.Stratum {
		wide.X = append(wide.X, m.X[i*p:(i+1)*p]...)
		for k := 1; k < strata; k++ {
			wide.X = append(wide.X, map[bool]float64{true: 1}[k == s])
		}
	}
	return wide
}

// Taking out strata gives the same effects and errors as a column for each stratum.
func TestStrataAreAsColumns(t *testing.T) {
	for _, family := range []Family{Poisson, Binomial} {
		narrow := drawn(7, 3)
		narrow.Family = family
		wide := asColumns(narrow, 3)
		a, err := narrow.Fit()
		if err != nil {
			t.Fatal(err)
		}
		b, err := wide.Fit()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "deviance", a.Deviance, b.Deviance, 1e-8)
		near(t, "degrees of freedom", a.DF, b.DF, 0)
		for j := range 2 {
			near(t, "effect", a.Beta[j], b.Beta[j], 1e-8)
			near(t, "se", a.SE[j], b.SE[j], 1e-8)
			near(t, "sandwich", a.Sandwich().SE[j], b.Sandwich().SE[j], 1e-8)
		}
		one, _ := a.Intercept(0)
		also, _ := b.Intercept(0)
		near(t, "intercept", one, also, 1e-7)
		two, _ := a.Intercept(1)
		near(t, "second stratum", two-one, b.Beta[2], 1e-7)
	}
}

func TestFitRefuses(t *testing.T) {
	none := dobson()
	none.Count = make([]float64, 9)
	if _, err := none.Fit(); !errors.Is(err, errNoEvents) {
		t.Errorf("no events: %v", err)
	}
	all := Model{Family: Binomial, Columns: []string{"a"}, X: []float64{1, 2}, Count: []float64{3, 4}, Exposure: []float64{3, 4}}
	if _, err := all.Fit(); !errors.Is(err, errNoEvents) {
		t.Errorf("nothing but events: %v", err)
	}
	twice := drawn(1, 1)
	for i := range twice.Count {
		twice.X[2*i+1] = 3 - 7*twice.X[2*i]
	}
	var alias *aliasedError
	if _, err := twice.Fit(); !errors.As(err, &alias) || alias.Column != "b" {
		t.Errorf("a column twice: %v", err)
	}
	still := drawn(1, 2)
	for i := range still.Count {
		still.X[2*i] = float64(still.Stratum[i])
	}
	if _, err := still.Fit(); !errors.As(err, &alias) || alias.Column != "a" {
		t.Errorf("a column that is constant in each stratum: %v", err)
	}
	apart := drawn(1, 1)
	for i := range apart.Count {
		apart.X[2*i] = float64(i % 2)
		if i%2 == 1 {
			apart.Count[i] = 0
		}
	}
	var separated *separatedError
	if _, err := apart.Fit(); !errors.As(err, &separated) || separated.Column != "a" {
		t.Errorf("events on one side only: %v", err)
	}
}

// A stratum without events says nothing about the columns, and neither does a row without
// prints.
func TestSilentRowsChangeNothing(t *testing.T) {
	m := drawn(5, 2)
	f, err := m.Fit()
	if err != nil {
		t.Fatal(err)
	}
	more := m
	more.X = append(append([]float64(nil), m.X...), 9, 9, 1, 2)
	more.Count = append(append([]float64(nil), m.Count...), 0, 0)
	more.Exposure = append(append([]float64(nil), m.Exposure...), 1000, 0)
	more.Stratum = append(append([]int(nil), m.Stratum...), 2, 0)
	more.Cluster = append(append([]int(nil), m.Cluster...), 20, 21)
	g, err := more.Fit()
	if err != nil {
		t.Fatal(err)
	}
	if g.Rows != f.Rows || g.Clusters != f.Clusters || g.Beta[0] != f.Beta[0] {
		t.Errorf("%+v, want %+v", g, f)
	}
}

// Units do not matter: a column in other units has its effect and error in these units.
func TestUnitsDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(rapid.Uint64Range(1, 40).Draw(t, "data"), 2)
		factor := math.Pow(10, rapid.Float64Range(-4, 4).Draw(t, "power"))
		shift := rapid.Float64Range(-1000, 1000).Draw(t, "shift")
		f, err := m.Fit()
		if err != nil {
			t.Skip(err)
		}
		other := m
		other.X = append([]float64(nil), m.X...)
		for i := range m.Count {
			other.X[2*i] = shift*factor + factor*m.X[2*i]
		}
		g, err := other.Fit()
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(g.Beta[0]*factor-f.Beta[0]) > 1e-6 || math.Abs(g.Sandwich().SE[0]*factor-f.Sandwich().SE[0]) > 1e-6 {
			t.Fatalf("%v ± %v, want %v ± %v", g.Beta[0]*factor, g.SE[0]*factor, f.Beta[0], f.SE[0])
		}
	})
}
