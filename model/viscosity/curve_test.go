package viscosity

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The share of the rise goes from 0 to 1, is continuous at the bend and rises with the age.
func TestTheCurveRises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Assumed()
		c.Bend, c.Share = rapid.Float64Range(minBend, maxBend).Draw(t, "bend"), rapid.Float64Range(minShare, maxShare).Draw(t, "share")
		for u, want := range map[float64]float64{0: 0, c.Bend: c.Share, 1: 1} {
			if got, _ := c.Risen(u); math.Abs(got-want) > 1e-12 {
				t.Fatalf("risen at %v: %v, want %v", u, got, want)
			}
		}
		a := rapid.Float64Range(0, 2).Draw(t, "age")
		b := a + rapid.Float64Range(1e-6, 1).Draw(t, "more")
		sa, slope := c.Risen(a)
		if sb, _ := c.Risen(b); !(sb > sa) {
			t.Fatalf("from age %v to %v the rise goes from %v to %v", a, b, sa, sb)
		}
		const step = 1e-6
		more := c
		more.Share += step
		if s, _ := more.Risen(a); math.Abs((s-sa)/step-slope) > 1e-6 {
			t.Fatalf("slope with share at %v: %v, by difference %v", a, slope, (s-sa)/step)
		}
	})
}

func TestRunsThatAgree(t *testing.T) {
	for _, row := range []struct {
		runs []float64
		want bool
	}{{[]float64{5}, false}, {[]float64{5, 5.049}, true}, {[]float64{5, 5.051}, false}, {[]float64{5, 5.02, 5.04}, true}, {[]float64{5, 5.02, 5.06}, false}} {
		if got := (Sample{LnRuns: row.runs, RunSpread: RunSpreadOfTime}).Agree(); got != row.want {
			t.Errorf("%v: agree %v", row.runs, got)
		}
	}
}

func TestWhatCannotBeJudged(t *testing.T) {
	if err := Assumed().Valid(); err != nil {
		t.Error(err)
	}
	for name, change := range map[string]func(*Curve){
		"no rise": func(c *Curve) { c.Rise = 0 }, "NaN": func(c *Curve) { c.Start = math.NaN() }, "bend": func(c *Curve) { c.Bend = 1 },
	} {
		c := Assumed()
		if change(&c); c.Valid() == nil {
			t.Errorf("%s is valid", name)
		}
	}
	good := Sample{LnRuns: []float64{5}, RunSpread: 0.02, TemperatureC: 23}
	if err := good.Valid(); err != nil {
		t.Error(err)
	}
	for name, change := range map[string]func(*Sample){
		"no runs": func(s *Sample) { s.LnRuns = nil }, "four": func(s *Sample) { s.LnRuns = []float64{5, 5, 5, 5} },
		"no spread": func(s *Sample) { s.RunSpread = 0 }, "infinite": func(s *Sample) { s.LnRuns = []float64{math.Inf(1)} },
		"too hot": func(s *Sample) { s.TemperatureC = 900 },
	} {
		s := good
		if change(&s); s.Valid() == nil {
			t.Errorf("%s is valid", name)
		}
	}
}
