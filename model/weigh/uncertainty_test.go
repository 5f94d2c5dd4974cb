package weigh

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v within %v", what, got, want, tolerance)
	}
}

// Computed with a second implementation in Python/SciPy, from JCGM 100 F.2.2.1.
func TestUncertaintyOfAReading(t *testing.T) {
	near(t, "reading", StandardUncertainty(1), 0.288675, 1e-6)
	near(t, "net mass", NetUncertainty(1), 0.408248, 1e-6)
}

// USP <41>: 820 divisions for 0.10 %; the other limits by the same rule.
func TestSmallestNetMass(t *testing.T) {
	for _, c := range []struct{ division, limit, want float64 }{
		{1, 0.001, 820}, {0.1, 0.001, 82}, {0.01, 0.001, 8.2}, {1, 0.02, 41}, {1, 0.05, 16.4},
	} {
		near(t, "smallest net mass", SmallestNetMass(c.division, c.limit), c.want, 1e-9)
	}
}

// OIML R 76-1, table 6, class III; in service twice as much (3.5.2).
func TestMaxPermissibleError(t *testing.T) {
	for _, c := range []struct{ load, want float64 }{
		{0, 0.5}, {500, 0.5}, {501, 1}, {2000, 1}, {2001, 1.5}, {10000, 1.5},
	} {
		got, ok := MaxPermissibleError(1, c.load)
		service, _ := MaxPermissibleErrorInService(1, c.load)
		if !ok || got != c.want || service != 2*c.want {
			t.Errorf("%v g: %v and %v, %v", c.load, got, service, ok)
		}
	}
	for _, load := range []float64{-1, 10001, math.NaN()} {
		if _, ok := MaxPermissibleError(1, load); ok {
			t.Errorf("%v g is no load of class III", load)
		}
	}
}
