package verify

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestWeightErrors compares with OIML R 111-1:2004, table 1 (in mg).
func TestWeightErrors(t *testing.T) {
	nominals := []float64{1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000}
	for class, mg := range map[WeightClass][]float64{
		E2: {0.03, 0.04, 0.05, 0.06, 0.08, 0.10, 0.16, 0.3, 0.8, 1.6, 3.0, 8.0, 16, 30},
		F1: {0.10, 0.12, 0.16, 0.20, 0.25, 0.3, 0.5, 1.0, 2.5, 5.0, 10, 25, 50, 100},
		F2: {0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.6, 3.0, 8.0, 16, 30, 80, 160, 300},
		M1: {1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 5.0, 10, 25, 50, 100, 250, 500, 1000},
		M2: {3.0, 4.0, 5.0, 6.0, 8.0, 10, 16, 30, 80, 160, 300, 800, 1600, 3000},
		M3: {10, 12, 16, 20, 25, 30, 50, 100, 250, 500, 1000, 2500, 5000, 10000},
	} {
		for i, nominal := range nominals {
			if got, err := weightError(class, nominal); err != nil || math.Abs(got-mg[i]/1000) > 1e-12 {
				t.Errorf("class %s, %v g: %v g, %v; want %v mg", class, nominal, got, err, mg[i])
			}
		}
	}
	// Each class permits about three times what the one before it does (R 111-1, 5.1): a slip in
	// the table would break the order.
	for _, nominal := range nominals {
		for i, class := range weightClasses()[1:] {
			finer, _ := weightError(weightClasses()[i], nominal)
			coarser, _ := weightError(class, nominal)
			if r := coarser / finer; r < 2.4 || r > 4.1 {
				t.Errorf("%v g: class %s permits %v times what %s does", nominal, class, r, weightClasses()[i])
			}
		}
	}
	if _, err := weightError(M1, 30); err == nil {
		t.Error("30 g is taken as the nominal mass of a weight")
	}
	if _, err := weightError("M4", 20); err == nil {
		t.Error("class M4 is known")
	}
}

// TestPermitted compares with OIML R 76-1:2006, table 6.
func TestPermitted(t *testing.T) {
	for _, c := range []struct {
		class ScaleClass
		e     float64
		loads map[float64]float64 // permissible error in e by load in e
	}{
		{ClassI, 0.001, map[float64]float64{0: 0.5, 50_000: 0.5, 50_001: 1, 200_000: 1, 200_001: 1.5}},
		{ClassII, 0.01, map[float64]float64{0: 0.5, 5_000: 0.5, 5_001: 1, 20_000: 1, 20_001: 1.5, 100_000: 1.5}},
		{ClassIII, 1, map[float64]float64{0: 0.5, 500: 0.5, 501: 1, 2_000: 1, 2_001: 1.5, 10_000: 1.5}},
		{ClassIII, 0.1, map[float64]float64{500: 0.5, 501: 1, 2_000: 1, 2_001: 1.5}},
		{ClassIIII, 5, map[float64]float64{0: 0.5, 50: 0.5, 51: 1, 200: 1, 201: 1.5, 1_000: 1.5}},
	} {
		for load, want := range c.loads {
			if got := (Scale{Class: c.class, EG: c.e}).permitted(load * c.e); math.Abs(got-want*c.e) > 1e-12 {
				t.Errorf("class %s, e = %v g, %v e: %v g, want %v e", c.class, c.e, load, got, want)
			}
		}
	}
}

// TestPossibleClasses compares with OIML R 76-1:2006, table 3.
func TestPossibleClasses(t *testing.T) {
	for _, c := range []struct {
		e, max float64
		want   []ScaleClass
		usual  ScaleClass
	}{
		{0.001, 100, []ScaleClass{ClassI, ClassII}, ClassII},
		{0.01, 600, []ScaleClass{ClassI, ClassII}, ClassII},
		{0.1, 2000, []ScaleClass{ClassII}, ClassII},
		{0.1, 600, []ScaleClass{ClassII, ClassIII}, ClassIII},
		{1, 2000, []ScaleClass{ClassIII}, ClassIII},
		{1, 99, nil, ""},
		{5, 600, []ScaleClass{ClassIIII}, ClassIIII},
		{5, 5000, []ScaleClass{ClassIII, ClassIIII}, ClassIII},
		{0.0005, 10, nil, ""},
	} {
		if got := possibleClasses(c.e, c.max); !slices.Equal(got, c.want) {
			t.Errorf("e = %v g, Max = %v g: %v, want %v", c.e, c.max, got, c.want)
		}
		if got, ok := UsualClass(c.e, c.max); got != c.usual || ok != (c.usual != "") {
			t.Errorf("e = %v g, Max = %v g: usually %q, want %q", c.e, c.max, got, c.usual)
		}
	}
}

// TestJudgeScale is worked by hand: readings of 100 g on a scale of class III with e = d = 1 g,
// with weights of class M1. The permissible error is 0.5 g, in service 1 g.
func TestJudgeScale(t *testing.T) {
	s := Scale{Class: ClassIII, EG: 1, DG: 1, MaxG: 2000}
	for _, c := range []struct {
		readings []float64
		want     Verdict
		off      float64
		spread   float64
	}{
		{[]float64{100, 100, 100}, Passed, 0, 0},
		{[]float64{100, 101, 100}, InService, 1.0 / 3, 1},
		{[]float64{101, 101, 101}, InService, 1, 0},
		{[]float64{102, 102, 102}, Failed, 2, 0},
		{[]float64{99, 101, 100}, Failed, 0, 2}, // the mean is right, the repeatability is not
	} {
		r, err := s.Judge([]Load{{WeightsG: []float64{100}, Class: M1, ReadingsG: c.readings}})
		if err != nil {
			t.Fatal(err)
		}
		l := r.Loads[0]
		if r.Verdict != c.want || math.Abs(l.ErrorG-c.off) > 1e-9 || math.Abs(l.SpreadG-c.spread) > 1e-9 || l.InitialG != 0.5 || l.InServiceG != 1 || l.CoarseWeights {
			t.Errorf("%v: %+v; want %s, error %v, spread %v", c.readings, l, c.want, c.off, c.spread)
		}
	}
	r, err := s.Judge([]Load{{WeightsG: []float64{100}, Class: M1, ReadingsG: []float64{100, 101, 100}}})
	// u² = s²/n + 2 d²/12 + (5 mg)²/3 with s² = 1/3: 0.1111 + 0.1667 + 0.0000; U = 2 · 0.5270.
	if err != nil || math.Abs(r.Loads[0].UncertaintyG-1.0541) > 1e-4 {
		t.Errorf("uncertainty %v g, %v; want 1.0541", r.Loads[0].UncertaintyG, err)
	}
	// 100 g of class M3 may be off by 50 mg: too much for e = 0.1 g (R 76-1, 3.7.1: a third of 50 mg).
	fine := Scale{Class: ClassIII, EG: 0.1, DG: 0.1, MaxG: 600}
	if r, err := fine.Judge([]Load{{WeightsG: []float64{20}, Class: M3, ReadingsG: []float64{20, 20, 20}}}); err != nil || !r.Loads[0].CoarseWeights {
		t.Errorf("%+v, %v: want the weights called coarse", r, err)
	}
}

func TestJudgeScaleRefuses(t *testing.T) {
	s := Scale{Class: ClassIII, EG: 1, DG: 1, MaxG: 2000}
	load := func(weight float64, readings ...float64) []Load {
		return []Load{{WeightsG: []float64{weight}, Class: M1, ReadingsG: readings}}
	}
	for want, loads := range map[string][]Load{
		"want 1 to":         nil,
		"repeatability":     load(100, 100, 100),
		"capacity":          load(5000, 5000, 5000, 5000),
		"nominal mass":      load(30, 30, 30, 30),
		"a reading of":      load(100, 100, math.NaN(), 100),
		"0 readings":        load(100),
		"class \"\": want ": {{WeightsG: []float64{100}, ReadingsG: []float64{100, 100, 100}}},
	} {
		if _, err := s.Judge(loads); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v, want an error with %q", loads, err, want)
		}
	}
	for _, s := range []Scale{{}, {Class: ClassII, EG: 1, DG: 1, MaxG: 2000}, {Class: "V", EG: 1, DG: 1, MaxG: 2000}} {
		if err := s.check(); err == nil {
			t.Errorf("%+v is taken", s)
		}
	}
}

// TestJudgeScaleProperties: the verdict does not depend on the order of the readings, moving every
// reading away from the nominal mass never makes it better, and no more readings than a scale can
// show give a figure that is not finite.
func TestJudgeScaleProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Scale{Class: ClassIII, EG: 1, DG: 1, MaxG: 2000}
		readings := rapid.SliceOfN(rapid.Float64Range(95, 105), 3, 8).Draw(t, "readings")
		judge := func(r []float64) LoadResult {
			got, err := s.Judge([]Load{{WeightsG: []float64{100}, Class: M1, ReadingsG: r}})
			if err != nil {
				t.Fatal(err)
			}
			return got.Loads[0]
		}
		a := judge(readings)
		turned := slices.Clone(readings)
		slices.Reverse(turned)
		if b := judge(turned); b.Verdict != a.Verdict || math.Abs(b.ErrorG-a.ErrorG) > 1e-9 {
			t.Fatalf("turned round: %+v and %+v", a, b)
		}
		away := rapid.Float64Range(0, 3).Draw(t, "away")
		for i := range turned {
			turned[i] += math.Copysign(away, a.ErrorG)
		}
		if b := judge(turned); worse(a.Verdict, b.Verdict) != b.Verdict {
			t.Fatalf("%v further off: %s after %s", away, b.Verdict, a.Verdict)
		}
		if math.IsNaN(a.UncertaintyG) || a.UncertaintyG < 2*math.Sqrt(1.0/6) {
			t.Fatalf("uncertainty %v", a.UncertaintyG)
		}
	})
}
