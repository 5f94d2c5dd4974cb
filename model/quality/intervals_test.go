package quality

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

func nearInterval(t *testing.T, what string, got Interval, low, high, tolerance float64) {
	t.Helper()
	near(t, what+", low", got.Low, low, tolerance)
	near(t, what+", high", got.High, high, tolerance)
}

func TestCountInterval(t *testing.T) {
	for _, c := range []struct {
		count, level, low, high, tolerance float64
		source                             string
	}{
		{0, 0.95, 0, 3.6889, 5e-5, "R poisson.test; epitools manual (3.689)"},
		{1, 0.95, 0.0253, 5.5716, 5e-5, "R poisson.test"},
		{2, 0.95, 0.2422, 7.2247, 5e-5, "R poisson.test"},
		{3, 0.95, 0.6187, 8.7673, 5e-5, "R poisson.test"},
		{5, 0.95, 1.6235, 11.6683, 5e-5, "R epitools pois.exact"},
		{10, 0.95, 4.7954, 18.3904, 5e-5, "R poisson.test; published tables (4.80, 18.39)"},
		{25, 0.90, 17.38, 34.92, 5e-3, "published table of Garwood's method"},
		{25, 0.95, 16.18, 36.90, 5e-3, "published table of Garwood's method"},
		{25, 0.99, 14.00, 41.00, 5e-3, "published table of Garwood's method"},
	} {
		nearInterval(t, c.source, CountInterval(c.count, c.level), c.low, c.high, c.tolerance)
	}
	nearInterval(t, "R poisson.test(3, 200)", rateInterval(3, 200, 0.95), 0.0030934, 0.0438364, 5e-8)
}

func TestShareInterval(t *testing.T) {
	nearInterval(t, "Clopper-Pearson, R binom.test(81, 263)", ShareInterval(81, 263, 0.95), 0.2527, 0.3676, 5e-5)
	nearInterval(t, "none of 20: 1-0.025^(1/20)", ShareInterval(0, 20, 0.95), 0, 1-math.Pow(0.025, 1.0/20), 1e-12)
	nearInterval(t, "all of 20", ShareInterval(20, 20, 0.95), math.Pow(0.025, 1.0/20), 1, 1e-12)
}

// The exact intervals' ends are where a tail is a half of what the level leaves.
func TestExactIntervalsLeaveTheirTails(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(1, 300).Draw(t, "count")
		level := rapid.Float64Range(0.5, 0.999).Draw(t, "level")
		i := CountInterval(float64(k), level)
		atMost := func(mean float64, k int) float64 { // sum of Poisson probabilities
			sum := 0.0
			for j := range k + 1 {
				g, _ := math.Lgamma(float64(j + 1))
				sum += math.Exp(float64(j)*math.Log(mean) - mean - g)
			}
			return sum
		}
		tail := (1 - level) / 2
		if got := 1 - atMost(i.Low, k-1); math.Abs(got-tail) > 1e-7 {
			t.Fatalf("below %v: tail %v, want %v", i.Low, got, tail)
		}
		if got := atMost(i.High, k); math.Abs(got-tail) > 1e-7 {
			t.Fatalf("above %v: tail %v, want %v", i.High, got, tail)
		}
		n := rapid.IntRange(k, 2000).Draw(t, "trials")
		share, p := ShareInterval(float64(k), float64(n), level), float64(k)/float64(n)
		if !(0 <= share.Low && share.Low <= p+1e-12 && p-1e-12 <= share.High && share.High <= 1) {
			t.Fatalf("%d of %d: %v", k, n, share)
		}
	})
}

func TestFalseDiscoveries(t *testing.T) {
	// Benjamini and Hochberg 1995, section 3.2: 15 comparisons, of which four are discoveries at
	// 5 %. The corrected values are those of R's p.adjust(method = "BH").
	p := []float64{0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000}
	want := []float64{0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645, 0.0765, 0.486, 0.5811818, 0.714875, 0.7532308, 0.8132143, 1}
	for i, q := range FalseDiscoveries(p) {
		near(t, "q", q, want[i], 5e-8)
	}
	got := FalseDiscoveries([]float64{0.04, math.NaN(), 0.01})
	if got[0] != 0.04 || !math.IsNaN(got[1]) || got[2] != 0.02 {
		t.Errorf("a test that could not be made counts: %v", got)
	}
	if len(FalseDiscoveries(nil)) != 0 {
		t.Error("no tests")
	}
}

// holds reports whether an interval contains a value.
func holds(i Interval, x float64) bool { return i.Low <= x && x <= i.High }
