package precision

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestFiguresAreRounded(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"a mass by a scale of 0.1 g", Grams(12.34567, 0.1), 12.35},
		{"a mass by a scale of 0.05 g", Grams(12.3432, 0.05), 12.345},
		{"a mass by a scale of 0.2 g", Grams(12.35, 0.2), 12.36},
		{"a mass by a scale of 1 g", Grams(12.34567, 1), 12.3},
		{"a mass by a scale of 20 g", Grams(1233, 20), 1234},
		{"a mass by a scale of 1 mg", Grams(12.345678, 0.001), 12.3457},
		{"a mass by no known scale", Grams(12.34567, 0), 12.35},
		{"a mass by a scale that is not known", Grams(12.34567, math.NaN()), 12.35},
		{"a difference of two readings", Grams(72.1-12.3, 0.1), 59.8},
		{"a lower limit", GramsAtLeast(14.9512, 0.1), 14.96},
		{"a lower limit that is a reading", GramsAtLeast(0.1+0.2, 0.1), 0.3},
		{"an upper limit", GramsAtMost(15.0587, 0.1), 15.05},
		{"an upper limit that is a reading", GramsAtMost(1.1-0.8, 0.1), 0.3},
		{"°C", Celsius(12.62471151301554), 12.62},
		{"%", Percent(-12.345), -12.35},
		{"g/m³", GramsPerM3(9.168), 9.17},
		{"kJ/mol", KJPerMol(50.126), 50.13},
		{"s", Seconds(21599.96), 21600},
		{"h", Hours(6.12345678), 6.1235},
		{"a share", Share(0.0008507435473365954), 0.000851},
		{"a share beyond all sense", Share(1e300), 1e300},
	} {
		if c.got != c.want {
			t.Errorf("%s is %v, want %v", c.name, c.got, c.want)
		}
	}
	if math.Signbit(Celsius(-0.001)) {
		t.Error("a little below zero is -0")
	}
	if x := Share(math.Inf(1)); !math.IsInf(x, 1) {
		t.Errorf("infinity became %v", x)
	}
	if x := Grams(math.NaN(), 0.1); !math.IsNaN(x) {
		t.Errorf("not a number became %v", x)
	}
	if Known(nil, Share) != nil {
		t.Error("a figure that is absent is there")
	}
}

// TestRoundedFiguresAreShort: JSON writes no more decimals than were kept, the figure is
// moved by half a step at most, and rounding it again changes nothing.
func TestRoundedFiguresAreShort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-1e6, 1e6).Draw(t, "x")
		division := rapid.SampledFrom([]float64{0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 100}).Draw(t, "division")
		for _, c := range []struct {
			name   string
			round  func(float64) float64
			step   float64
			places int
		}{
			{"grams", func(x float64) float64 { return Grams(x, division) }, division / 10, max(0, int(math.Ceil(1-math.Log10(division))))},
			{"celsius", Celsius, 0.01, 2},
			{"seconds", Seconds, 0.1, 1},
			{"hours", Hours, 1e-4, 4},
			{"share", Share, 1e-6, 6},
		} {
			got := c.round(x)
			ulp := math.Nextafter(math.Abs(x), math.Inf(1)) - math.Abs(x) // both figures are the nearest that a float64 has
			if math.Abs(got-x) > c.step/2*(1+1e-6)+ulp {
				t.Fatalf("%s: %v became %v, by more than half of %v", c.name, x, got, c.step)
			}
			if again := c.round(got); again != got {
				t.Fatalf("%s: %v became %v and then %v", c.name, x, got, again)
			}
			text, err := json.Marshal(got)
			if err != nil {
				t.Fatal(err)
			}
			if _, fraction, _ := strings.Cut(string(text), "."); len(fraction) > c.places || strings.ContainsAny(string(text), "e") && math.Abs(got) >= 1e-6 {
				t.Fatalf("%s by %v: %v is written as %s, want %d decimals at most", c.name, division, got, text, c.places)
			}
		}
		low, high := GramsAtLeast(x, division), GramsAtMost(x, division)
		if low < x-1e-6*division || high > x+1e-6*division || low-x > division/10*(1+1e-6) || x-high > division/10*(1+1e-6) {
			t.Fatalf("%v by %v: limits %v and %v", x, division, low, high)
		}
	})
}
