package flowcup

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Certified oils for the Ford cups of ASTM D1200, at 25 °C: the viscosity of each and how long it flows, in whole
// seconds, as Cannon Instrument Company publishes them ("Viscosity Standards for Zahn, Shell, and Ford Cups",
// cannoninstrument.com/Cups.htm). A test method's reproducibility is wider than the 3.5 % that are allowed here.
func TestCertifiedOils(t *testing.T) {
	for _, row := range []struct {
		oil              string
		mm2PerS, seconds float64
		cup              Cup
	}{
		{"C10", 17, 70, Ford1},
		{"C20", 34, 42, Ford2}, {"C35", 66, 64, Ford2},
		{"C35", 66, 35, Ford3}, {"C60", 120, 58, Ford3},
		{"C60", 120, 36, Ford4}, {"C100", 230, 64, Ford4},
		{"C200", 460, 40, Ford5}, {"C350", 850, 70, Ford5},
	} {
		if got, err := row.cup.ViscosityMM2PerS(row.seconds); err != nil || math.Abs(got-row.mm2PerS) > 0.035*row.mm2PerS {
			t.Errorf("%s in %s, %v s: %v, %v; want %v", row.oil, row.cup, row.seconds, got, err, row.mm2PerS)
		}
	}
}

// ASTM D1200 at 60 s, computed with a second implementation in Python.
func TestSixtySeconds(t *testing.T) {
	for cup, want := range map[Cup]float64{Ford1: 12.25, Ford2: 60.48, Ford3: 123.40, Ford4: 213.71, Ford5: 701.80} {
		got, err := cup.ViscosityMM2PerS(60)
		if err != nil || math.Abs(got-want) > 0.005 {
			t.Errorf("%s: %v, %v; want %v", cup, got, err, want)
		}
	}
}

// The viscosities that ISO 2431 gives for the ends of each cup's range, 30 s and 100 s, in whole
// mm²/s (from memory).
func TestISOCupsAtTheEndsOfTheirRange(t *testing.T) {
	for cup, want := range map[Cup][2]float64{ISO3: {7, 42}, ISO4: {34, 135}, ISO5: {91, 326}, ISO6: {188, 684}} {
		for i, seconds := range []float64{30, 100} {
			got, err := cup.ViscosityMM2PerS(seconds)
			if err != nil || math.Round(got) != want[i] {
				t.Errorf("%s at %v s: %v, %v; want %v", cup, seconds, got, err, want[i])
			}
		}
	}
}

// ASTM D1200, 11.2: No. 1 from 55 s, No. 2 from 40 s, the others from 20 s, all to 100 s.
func TestOutsideTheCup(t *testing.T) {
	for _, row := range []struct {
		cup     Cup
		seconds float64
		ok      bool
	}{
		{Ford1, 54.9, false}, {Ford1, 55, true}, {Ford1, 100, true}, {Ford1, 100.1, false},
		{Ford2, 39.9, false}, {Ford2, 40, true}, {Ford2, 100, true}, {Ford2, 100.1, false},
		{Ford3, 19.9, false}, {Ford3, 20, true}, {Ford4, 19.9, false}, {Ford4, 20, true}, {Ford5, 19.9, false}, {Ford5, 20, true},
		{Ford5, 100, true}, {Ford5, 100.1, false}, {ISO4, 29.9, false}, {ISO4, 30, true}, {ISO6, 100, true}, {ISO6, 101, false},
		{"ford-6", 60, false}, {"", 60, false}, {Ford4, -1, false}, {Ford2, math.NaN(), false}, {Ford3, math.Inf(1), false},
	} {
		if v, err := row.cup.ViscosityMM2PerS(row.seconds); (err == nil) != row.ok {
			t.Errorf("%s, %v s: %v, %v", row.cup, row.seconds, v, err)
		}
		if least, most, ok := row.cup.Range(); row.ok && !(ok && least <= row.seconds && row.seconds <= most) {
			t.Errorf("%s: range %v to %v, %v", row.cup, least, most, ok)
		}
	}
	if _, err := Cup("ford-9").ViscosityMM2PerS(60); err == nil || !strings.Contains(err.Error(), "iso-6") {
		t.Errorf("the error does not name the cups: %v", err)
	}
}

// The viscosity rises with the time, and Sensitivity is its logarithmic slope.
func TestViscosityRisesWithTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cup := rapid.SampledFrom(table).Draw(t, "cup").cup
		least, most, _ := cup.Range()
		seconds := rapid.Float64Range(least+0.01, most-0.01).Draw(t, "seconds")
		const step = 1e-4
		a, _ := cup.ViscosityMM2PerS(seconds - step)
		b, _ := cup.ViscosityMM2PerS(seconds + step)
		slope, err := cup.Sensitivity(seconds)
		if err != nil || !(slope > 1) || math.Abs(math.Log(b/a)*seconds/(2*step)-slope) > 1e-5*slope {
			t.Fatalf("%s at %v s: sensitivity %v, %v; the viscosity goes from %v to %v", cup, seconds, slope, err, a, b)
		}
	})
}
