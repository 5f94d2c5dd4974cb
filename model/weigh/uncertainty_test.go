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
}
