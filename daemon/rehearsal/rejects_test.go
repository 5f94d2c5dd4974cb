package rehearsal

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The demo's rejects follow the shares that the reference states, within four standard errors.
func TestRejectsFollowTheirShares(t *testing.T) {
	const prints = 400_000
	random := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		mode           Rejects
		density, spent float64
		want           map[string]float64 // by kind, the stated share
	}{
		{RejectsRise, 10, 0, map[string]float64{"pinholes": 0.006, "incomplete-transfer": 0.004, "poor-adhesion": 0.0015, "dust": 0.003, "stringing": 0.002, "smearing": 0.0015}},
		{RejectsRise, 20, 1, map[string]float64{"pinholes": 0.02795, "incomplete-transfer": 0.012, "poor-adhesion": 0.006477, "dust": 0.003, "stringing": 0.002, "smearing": 0.0015}},
		{RejectsConstant, 20, 1, map[string]float64{"pinholes": 0.014, "incomplete-transfer": 0.007, "poor-adhesion": 0.003, "dust": 0.003, "stringing": 0.002, "smearing": 0.0015}},
	} {
		got := map[string]int{}
		for range prints {
			got[c.mode.shares().of(c.density, c.spent, random.Float64())]++
		}
		for kind, p := range c.want {
			if d := float64(got[kind])/prints - p; math.Abs(d) > 4*math.Sqrt(p/prints) {
				t.Errorf("%s at %v g/m³, %v spent: %s in %.5f of the prints, want %.5f", c.mode, c.density, c.spent, kind, float64(got[kind])/prints, p)
			}
			delete(got, kind)
		}
		if len(got) != 1 {
			t.Errorf("%s: other rejects %v", c.mode, got)
		}
	}
}
