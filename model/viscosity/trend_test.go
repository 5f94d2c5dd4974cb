package viscosity

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// From a dozen batches whose ends were seen the fit finds how a torque rises, whatever its level. The seed was
// fixed before the first run.
func TestATrendIsLearned(t *testing.T) {
	rng := rand.New(rand.NewPCG(20261130, 14))
	truth := AssumedTrend()
	truth.Rise, truth.Bend, truth.Share = 0.5, 0.7, 0.4
	var all []Series
	for i := range 12 {
		s := Series{Batch: fmt.Sprint(i), EndDose: math.Exp(0.15 * rng.NormFloat64())}
		first := 0.03 + 0.2*rng.Float64()
		drift := DriftOfTrend * rng.NormFloat64()
		for u := first; u < 1; u += 0.2 {
			p := Point{Dose: u * s.EndDose, Of: Sample{LnRuns: []float64{truth.Expected(first, u)}, RunSpread: LeastNoiseOfTrend, TemperatureC: 23}}
			if u > first {
				p.Of.LnRuns[0] += drift
				p.Of.Drift = DriftOfTrend
			}
			s.Points = append(s.Points, p)
		}
		all = append(all, s)
	}
	got := LearnTrend(all)
	t.Logf("%+v", got)
	if got.Valid() != nil || got.Ends != 12 || math.Abs(got.Rise-0.5) > 0.05 || got.RiseSpread > 0.1*got.Rise {
		t.Errorf("learned %+v", got)
	}
	for _, u := range []float64{0.3, 0.5, 0.7, 0.9} {
		if d := got.Expected(0.05, u) - truth.Expected(0.05, u); math.Abs(d) > 0.05 {
			t.Errorf("up to age %v it rises by %.3f, want %.3f", u, got.Expected(0.05, u), truth.Expected(0.05, u))
		}
	}
	if got := LearnTrend(nil); got != AssumedTrend() {
		t.Errorf("from nothing: %+v", got)
	}
}
