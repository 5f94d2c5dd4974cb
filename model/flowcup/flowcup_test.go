package flowcup

import (
	"math"
	"testing"
)

// ASTM D1200 (cups 3 and 4 from memory), computed with a second implementation in Python.
func TestSixtySeconds(t *testing.T) {
	for number, want := range map[int]float64{1: 12.25, 2: 60.48, 3: 123.40, 4: 213.71} {
		got, err := ViscosityMM2PerS(number, 60)
		if err != nil || math.Abs(got-want) > 0.005 {
			t.Errorf("No. %d: %v, %v; want %v", number, got, err, want)
		}
	}
}

func TestOutsideTheCup(t *testing.T) {
	for _, row := range []struct {
		number  int
		seconds float64
	}{{0, 60}, {5, 60}, {1, 34}, {4, 19.9}, {4, 100.1}, {4, -1}, {2, math.NaN()}, {3, math.Inf(1)}} {
		if v, err := ViscosityMM2PerS(row.number, row.seconds); err == nil {
			t.Errorf("No. %d, %v s: %v, want an error", row.number, row.seconds, v)
		}
	}
}
