package quality

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The wafers of the NIST/SEMATECH e-Handbook, section 6.3.3.2: 30 lots of 50 chips. The handbook's
// limits are 0.0524 and 0.4102 around 0.2313, and lots 15 and 23 are out. The data are from
// memory; R gives the same limits from them: mean(x)+c(-3,3)*sqrt(mean(x)*(1-mean(x))/50).
func TestPChartOfTheHandbook(t *testing.T) {
	var groups []Subgroup
	for _, share := range []float64{
		.24, .30, .16, .20, .08, .14, .32, .18, .28, .20, .10, .12, .34, .24, .44,
		.16, .20, .10, .26, .22, .40, .36, .48, .30, .18, .24, .14, .26, .18, .12,
	} {
		groups = append(groups, Subgroup{math.Round(50 * share), 50})
	}
	c, err := NewChart(PChart, groups, false)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Centre, 0.2313, 5e-5)
	// Without Laney's factor, as in the handbook.
	half := (c.Points[0].High - c.Centre) / c.SigmaZ
	near(t, "upper limit", c.Centre+half, 0.4102, 5e-5)
	near(t, "lower limit", c.Centre-half, 0.0524, 5e-5)
	for i, p := range c.Points {
		if out := math.Abs(p.Value-c.Centre) > half; out != (i == 14 || i == 22) {
			t.Errorf("lot %d: out %v", i+1, out)
		}
	}
}

// The wafers of section 6.3.3.1: defects on 25 wafers, limits 4 and 28 around 16, from memory as
// above; with one wafer a subgroup a u-chart is the handbook's c-chart.
func TestUChartOfTheHandbook(t *testing.T) {
	var groups []Subgroup
	for _, count := range []float64{16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13} {
		groups = append(groups, Subgroup{count, 1})
	}
	c, err := NewChart(UChart, groups, false)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Centre, 16, 1e-12)
	near(t, "upper limit without Laney's factor", c.Centre+(c.Points[0].High-c.Centre)/c.SigmaZ, 28, 1e-12)
	near(t, "lower limit without Laney's factor", c.Centre+(c.Points[0].Low-c.Centre)/c.SigmaZ, 4, 1e-12)
}

func TestLaney(t *testing.T) {
	// Laney's factor by hand: z is 3, -3, 3, -3 with p 0.1 and samples of 900; the moving ranges
	// are 6, and 6/1.128 is 5.319.
	groups := []Subgroup{{117, 900}, {63, 900}, {117, 900}, {63, 900}}
	c, err := NewChart(PChart, groups, false)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "z", c.Points[0].Z*c.SigmaZ, 3, 1e-12)
	near(t, "factor", c.SigmaZ, 6/1.128, 2e-3)
	if !c.Laney || c.Points[0].Out {
		t.Errorf("%+v", c)
	}
	near(t, "upper limit", c.Points[0].High, 0.1+3*0.01*c.SigmaZ, 1e-12)
}

// Points that scatter by chance alone get no factor, mostly, and lie within the limits; those
// that scatter more do.
func TestLaneyWhereItIsNeeded(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 5))
	const charts = 300
	plainLaney, wideLaney, plainOut, wideOut, points := 0, 0, 0, 0, 0
	for range charts {
		var plain, wide []Subgroup
		for range 40 {
			n := 500 + 1500*r.Float64()
			plain = append(plain, Subgroup{poisson(r, 0.02*n), n})
			wide = append(wide, Subgroup{poisson(r, 0.02*n*math.Exp(0.5*r.NormFloat64())), n})
		}
		p, _ := NewChart(UChart, plain, false)
		w, _ := NewChart(UChart, wide, false)
		for i := range p.Points {
			points++
			plainOut += count(p.Points[i].Out)
			wideOut += count(w.Points[i].Out)
		}
		plainLaney, wideLaney = plainLaney+count(p.Laney), wideLaney+count(w.Laney)
	}
	if plainLaney > charts*8/100 || wideLaney < charts*99/100 {
		t.Errorf("Laney's factor: %d of %d plain charts, %d wide ones", plainLaney, charts, wideLaney)
	}
	// 0.27 % of a normal distribution is beyond 3 deviations; counts are skewed.
	if plainOut > points/100 || wideOut > points/50 {
		t.Errorf("out: %d and %d of %d points", plainOut, wideOut, points)
	}
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestRunsRules(t *testing.T) {
	for _, c := range []struct {
		z    []float64
		rule Rule
		at   []int // where the rule holds
	}{
		{[]float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, -1}, NineOnOneSide, []int{8, 9}},
		{[]float64{-1, 1, 1, 1, 1, 1, 1, 1, 1}, NineOnOneSide, nil},
		{[]float64{0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.4}, SixInOneDirection, []int{5}},
		{[]float64{5, 4, 3, 2, 1, 0}, SixInOneDirection, []int{5}},
		{[]float64{1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2}, FourteenInTurn, []int{13}},
		{[]float64{1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1}, FourteenInTurn, nil},
		{[]float64{2.1, 0, 2.1, 0, 0}, TwoOfThreeFar, []int{2}},
		{[]float64{2.1, 0, -2.1}, TwoOfThreeFar, nil},
		{[]float64{1.1, 1.1, 0, 1.1, 1.1}, FourOfFiveOff, []int{4}},
		{[]float64{-1.1, -1.1, -1.1, -1.1, 0}, FourOfFiveOff, nil},
		{slices.Repeat([]float64{0.9, -0.9, 0}, 5), FifteenNear, []int{14}},
		{[]float64{1.1, -1.1, 1.1, -1.1, 1.1, -1.1, 1.1, -1.1}, EightAway, []int{7}},
		{[]float64{1.1, -1.1, 1.1, -1.1, 0.9, -1.1, 1.1, -1.1}, EightAway, nil},
	} {
		var chart Chart
		for _, z := range c.z {
			chart.Points = append(chart.Points, ChartPoint{Z: z})
		}
		chart.judgeRuns()
		var at []int
		for i, p := range chart.Points {
			if slices.Contains(p.Rules, c.rule) {
				at = append(at, i)
			}
		}
		if !slices.Equal(at, c.at) {
			t.Errorf("%s in %v: at %v, want %v", c.rule, c.z, at, c.at)
		}
	}
}

func TestChartProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var groups []Subgroup
		for range rapid.IntRange(1, 30).Draw(t, "points") {
			n := rapid.IntRange(1, 2000).Draw(t, "size")
			groups = append(groups, Subgroup{float64(rapid.IntRange(0, n).Draw(t, "count")), float64(n)})
		}
		kind := rapid.SampledFrom([]ChartKind{PChart, UChart}).Draw(t, "kind")
		c, err := NewChart(kind, groups, rapid.Bool().Draw(t, "runs"))
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range c.Points {
			if math.IsNaN(p.Value+p.Low+p.High+p.Z) || p.Low > c.Centre || p.High < c.Centre {
				t.Fatalf("point %d: %+v around %v", i, p, c.Centre)
			}
		}
		if c.SigmaZ < 1 || c.Laney != (c.SigmaZ > 1) {
			t.Fatalf("factor %v", c.SigmaZ)
		}
	})
	if _, err := NewChart(PChart, nil, true); !errors.Is(err, errNoSubgroups) {
		t.Errorf("no subgroups: %v", err)
	}
}
