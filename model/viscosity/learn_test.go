package viscosity

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// measured makes series of batches that follow a curve: each measured fresh and at three ages, in rooms of 18 to 28 °C.
func measured(rng *rand.Rand, truth Curve, n int) []Series {
	var all []Series
	for i := range n {
		s := Series{Batch: fmt.Sprint(i), EndDose: math.Exp(0.15 * rng.NormFloat64())}
		start := truth.Start + 0.2*rng.NormFloat64()
		for _, u := range []float64{0.02, 0.4, 0.7, 0.9} {
			risen, _ := truth.Risen(u)
			celsius := 18 + 10*rng.Float64()
			ln := start + truth.Rise*risen - truth.PerKelvin*(celsius-referenceTemperatureC) + 0.037*rng.NormFloat64()
			s.Points = append(s.Points, Point{Dose: u * s.EndDose, Of: Sample{LnRuns: []float64{ln}, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: celsius}})
		}
		all = append(all, s)
	}
	return all
}

// From a dozen batches the fit finds an ink that rises in two stages, and one that follows a straight line. The seed was
// fixed before the first run.
func TestACurveIsLearned(t *testing.T) {
	for name, row := range map[string]struct{ rise, bend, share, perKelvin float64 }{
		"two stages": {1.4, 0.7, 0.3, 0.07}, "straight": {0.9, 0.5, 0.5, 0.04},
	} {
		truth := Assumed()
		truth.Start, truth.Rise, truth.Bend, truth.Share, truth.PerKelvin = 5.1, row.rise, row.bend, row.share, row.perKelvin
		got := Learn(measured(rand.New(rand.NewPCG(20261129, 14)), truth, 12))
		t.Logf("%s: %+v", name, got)
		if err := got.Valid(); err != nil || got.Ends != 12 {
			t.Fatalf("%s: %d ends, %v", name, got.Ends, err)
		}
		if math.Abs(got.Start-5.1) > 0.2 || math.Abs(got.PerKelvin-row.perKelvin) > 0.012 || math.Abs(got.Rise/row.rise-1) > 0.12 {
			t.Errorf("%s: learned %+v", name, got)
		}
		for _, u := range []float64{0.2, 0.5, 0.7, 0.9, 1} {
			a, _ := truth.Risen(u)
			b, _ := got.Risen(u)
			if math.Abs(truth.Rise*a-got.Rise*b) > 0.1 {
				t.Errorf("%s: at age %v ln viscosity has risen by %v, want %v", name, u, got.Rise*b, truth.Rise*a)
			}
		}
		if !(got.RiseSpread/got.Rise < Assumed().RiseSpread/Assumed().Rise) || !(got.StartSpread < 0.6) {
			t.Errorf("%s: nothing is known better: %+v", name, got)
		}
	}
}

// Nothing measured leaves what is assumed; a batch whose end nobody saw tells the start alone.
func TestLittleIsLearnedFromLittle(t *testing.T) {
	if got := Learn(nil); got != Assumed() {
		t.Errorf("from nothing: %+v", got)
	}
	fresh := Series{Points: []Point{{Dose: 0.02, Of: Sample{LnRuns: []float64{5.5}, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 23}},
		{Dose: 0.9, Of: Sample{LnRuns: []float64{9}, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 23}}}}
	got, a := Learn([]Series{fresh}), Assumed()
	if math.Abs(got.Start-5.5) > 0.2 || got.Rise < 0.9*a.Rise || got.Rise > 1.1*a.Rise || got.Bend != a.Bend || got.Ends != 0 {
		t.Errorf("from a fresh sample: %+v", got)
	}
}
