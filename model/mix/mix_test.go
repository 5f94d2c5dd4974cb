package mix

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v within %v", what, got, want, tolerance)
	}
}

// Common practice of the trade, no source.
func TestTargets(t *testing.T) {
	for _, c := range []struct {
		ink        float64
		ratio      string
		thinnerPct float64
		want       Amounts
		total      float64
	}{
		{60, "4:1", 0, Amounts{60, 15, 0}, 75},
		{60, "4:1", 10, Amounts{60, 15, 7.5}, 82.5},
		{60, "4:1", 12, Amounts{60, 15, 9}, 84},
		{60, "4:1", 20, Amounts{60, 15, 15}, 90},
		{60, "10:1", 0, Amounts{60, 6, 0}, 66},
		{60, "20:1", 0, Amounts{60, 3, 0}, 63},
		{60, "1:1", 0, Amounts{60, 60, 0}, 120},
		{100, "4:1", 12, Amounts{100, 25, 15}, 140},
		{64, "4:1", 0, Amounts{64, 16, 0}, 80},
	} {
		ratio, err := ParseRatio(c.ratio)
		if err != nil {
			t.Fatal(err)
		}
		got := Targets(c.ink, ratio, c.thinnerPct)
		near(t, "ink", got.InkG, c.want.InkG, 1e-12)
		near(t, "hardener", got.HardenerG, c.want.HardenerG, 1e-12)
		near(t, "thinner", got.ThinnerG, c.want.ThinnerG, 1e-12)
		near(t, "total", got.TotalG(), c.total, 1e-12)
	}
}

func TestTolerance(t *testing.T) {
	// Common practice, no source: 18 g on 60 g at 4:1 is a fifth too much.
	near(t, "deviation", Deviation(Amounts{InkG: 60, HardenerG: 18}, 4), 0.20, 1e-12)
	for hardener, want := range map[float64]bool{15: true, 15.75: true, 14.25: true, 15.76: false, 14.24: false, 0: false} {
		if got := InTolerance(Amounts{InkG: 60, HardenerG: hardener}, 4, 5); got != want {
			t.Errorf("%v g: in tolerance %v, want %v", hardener, got, want)
		}
	}
	if !math.IsInf(Deviation(Amounts{HardenerG: 3}, 4), 1) || Deviation(Amounts{}, 4) != 0 {
		t.Error("without ink: hardener alone is infinitely off, an empty cup is not")
	}
	// Common practice, no source: four fills of a 2 g pipette.
	near(t, "thinner", Amounts{InkG: 60, HardenerG: 15, ThinnerG: 8}.ThinnerPct(), 10.67, 0.005)
}

var limits = Limits{Ratio: 4, TolerancePct: 5, ThinnerPct: 10, ThinnerMinPct: 10, ThinnerMaxPct: 20, DivisionG: 1}

func TestCorrectionsOfTooMuchHardener(t *testing.T) {
	got := Corrections(Amounts{InkG: 60, HardenerG: 18}, limits)
	if len(got) != 2 || got[0].To != ToTolerance || got[1].To != ToExact {
		t.Fatalf("got %+v, want the least first, then the exact", got)
	}
	// Common practice, no source: 12 g of ink bring 18 g on 60 g back to 4:1.
	near(t, "exact ink", got[1].Add.InkG, 12, 1e-12)
	near(t, "thinner", got[1].ThinnerG, 9, 1e-12)
	near(t, "total", got[1].TotalG, 99, 1e-12)
	// 72 g / 1.05 is the edge of the tolerance, one division further is inside.
	near(t, "least ink", got[0].Add.InkG, 72/1.05-60+1, 1e-12)
	text, err := json.Marshal(got[1])
	if err != nil || string(text) != `{"add":{"ink_g":12},"thinner_g":9,"total_g":99,"to":"exact"}` {
		t.Errorf("JSON %s, %v", text, err)
	}
}

func TestCorrectionsKeepToTheCup(t *testing.T) {
	l := limits
	for _, c := range []struct {
		cup  float64
		want []string
	}{{0, []string{ToTolerance, ToExact}}, {99, []string{ToTolerance, ToExact}}, {98, []string{ToTolerance}}, {90, nil}} {
		l.CupMaximumG = c.cup
		var got []string
		for _, x := range Corrections(Amounts{InkG: 60, HardenerG: 18}, l) {
			got = append(got, x.To)
		}
		if strings.Join(got, " ") != strings.Join(c.want, " ") {
			t.Errorf("cup of %v g: %v, want %v", c.cup, got, c.want)
		}
	}
}

func TestCorrectionsOfTheOtherFaults(t *testing.T) {
	hardener := Corrections(Amounts{InkG: 120, HardenerG: 20}, limits)
	near(t, "hardener, exact", hardener[len(hardener)-1].Add.HardenerG, 10, 1e-12)
	near(t, "hardener, least", hardener[0].Add.HardenerG, 0.95*30-20+1, 1e-12)

	// 60 + 15 g with 18 g of thinner is 24 %: 90 g of catalysed ink make it 20 %.
	over := Corrections(Amounts{InkG: 60, HardenerG: 15, ThinnerG: 18}, limits)
	near(t, "ink for thinner", over[0].Add.InkG, (90-75+1)*0.8, 1e-9)
	near(t, "hardener for thinner", over[0].Add.HardenerG, (90-75+1)*0.2, 1e-9)
	near(t, "ink for 10 %", over[1].Add.InkG, (180-75)*0.8, 1e-9)

	under := ThinnerCorrections(Amounts{InkG: 60, HardenerG: 15, ThinnerG: 3}, limits)
	if len(under) != 1 || under[0].To != ToExact {
		t.Fatalf("%+v: where the aim is the minimum there is no shorter way", under)
	}
	near(t, "thinner", under[0].Add.ThinnerG, 4.5, 1e-12)

	if got := Corrections(Amounts{InkG: 60, HardenerG: 15}, limits); len(got) != 0 {
		t.Errorf("thinner not poured yet is no fault: %+v", got)
	}
	trace := limits
	trace.ThinnerPct, trace.ThinnerMinPct = 1e-306, 0
	if got := Corrections(Amounts{InkG: 60, HardenerG: 15, ThinnerG: 18}, trace); len(got) != 1 || got[0].To != ToTolerance {
		t.Errorf("an aim of a trace of thinner: %+v", got)
	}
	none := limits
	none.ThinnerPct, none.ThinnerMinPct, none.ThinnerMaxPct = 0, 0, 0
	if got := Corrections(Amounts{InkG: 60, HardenerG: 15, ThinnerG: 1}, none); len(got) != 0 {
		t.Errorf("thinner cannot be taken out: %+v", got)
	}
}

// Computed with a second implementation in Python/SciPy.
func TestUncertainty(t *testing.T) {
	reading := func(d float64) float64 { return d / math.Sqrt(12) }
	for _, c := range []struct {
		ink, hardener, division float64
		once                    bool
		want                    float64
	}{
		{60, 15, 1, false, 0.0281},
		{60, 15, 0.1, false, 0.0028},
		{60, 15, 1, true, 0.0312},
		{60, 6, 1, false, 0.0684},
		{60, 3, 1, false, 0.1363},
		{30, 30, 1, false, 0.0192},
	} {
		w := Weighing{ReadingUncertaintyG: reading(c.division), Once: c.once}
		a := Amounts{InkG: c.ink, HardenerG: c.hardener}
		near(t, "relative uncertainty", w.RatioUncertainty(a), c.want, 1e-4)
		near(t, "expanded", w.Uncertainty(a).RatioPct, 200*c.want, 2e-2)
	}
}

// The propagation formula against differences of the quotient itself.
func TestUncertaintyAgainstNumericalDerivatives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Amounts{
			InkG:      rapid.Float64Range(20, 500).Draw(t, "ink"),
			HardenerG: rapid.Float64Range(2, 100).Draw(t, "hardener"),
			ThinnerG:  rapid.Float64Range(1, 100).Draw(t, "thinner"),
		}
		const u, h = 0.3, 1e-4
		quadrature := func(f func(r []float64) float64, r []float64) float64 {
			sum := 0.0
			for i := range r {
				up, down := append([]float64(nil), r...), append([]float64(nil), r...)
				up[i], down[i] = up[i]+h, down[i]-h
				d := (f(up) - f(down)) / (2 * h)
				sum += d * d * u * u
			}
			return math.Sqrt(sum)
		}
		q := a.InkG / a.HardenerG
		once := []float64{12, 12 + a.InkG, 12 + a.CatalysedG(), 12 + a.TotalG()}
		each := []float64{0, a.InkG, 0, a.HardenerG, 0, a.ThinnerG}
		for _, c := range []struct {
			w      Weighing
			got    float64
			want   float64
			metric string
		}{
			{metric: "ratio once", got: Weighing{u, true}.RatioUncertainty(a),
				want: quadrature(func(r []float64) float64 { return (r[1] - r[0]) / (r[2] - r[1]) }, once) / q},
			{metric: "ratio each", got: Weighing{u, false}.RatioUncertainty(a),
				want: quadrature(func(r []float64) float64 { return (r[1] - r[0]) / (r[3] - r[2]) }, each) / q},
			{metric: "thinner once", got: Weighing{u, true}.thinnerUncertainty(a),
				want: quadrature(func(r []float64) float64 { return 100 * (r[3] - r[2]) / (r[2] - r[0]) }, once)},
			{metric: "thinner each", got: Weighing{u, false}.thinnerUncertainty(a),
				want: quadrature(func(r []float64) float64 { return 100 * (r[5] - r[4]) / (r[1] - r[0] + r[3] - r[2]) }, each)},
		} {
			if math.Abs(c.got/c.want-1) > 1e-5 {
				t.Errorf("%s: %v, want %v", c.metric, c.got, c.want)
			}
		}
	})
}

func TestGrade(t *testing.T) {
	w := Weighing{ReadingUncertaintyG: 1 / math.Sqrt(12)}
	fine := Weighing{ReadingUncertaintyG: 0.1 / math.Sqrt(12)}
	if g := w.Grade(Targets(60, 4, 0), 5); g != Usable {
		t.Errorf("60 g at 4:1 on whole grams: %s", g)
	}
	if g := fine.Grade(Targets(60, 4, 0), 5); g != Fine {
		t.Errorf("60 g at 4:1 on tenths: %s", g)
	}
	if g := w.Grade(Targets(60, 10, 0), 5); g != Coarse {
		t.Errorf("60 g at 10:1 on whole grams: %s", g)
	}
	least := w.SmallestUsableInk(10, 5)
	near(t, "smallest usable ink", least, math.Sqrt(101)/math.Sqrt(6)/0.05, 1e-9)
	if w.Grade(Targets(least*1.001, 10, 0), 5) != Usable || w.Grade(Targets(least*0.999, 10, 0), 5) != Coarse {
		t.Error("the smallest usable ink is not the border of usable")
	}
}

func TestParseRatio(t *testing.T) {
	for text, want := range map[string]Ratio{"4:1": 4, "10:1": 10, "1:1": 1, "3.5:1": 3.5, " 4 : 1 ": 4, "100:25": 4, "100:1": 100} {
		if got, err := ParseRatio(text); err != nil || got != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "4", "4:", ":1", "0:1", "4:0", "-4:1", "4:-1", "101:1", "1:101", "four:1", "4:1:1", "NaN:1", "Inf:1", "4e1:1", "0x4:1", "+4:1", "4,5:1", "1e999:1", ".:1"} {
		if got, err := ParseRatio(text); err == nil {
			t.Errorf("%q was read as %v", text, got)
		} else if !strings.Contains(err.Error(), text) {
			t.Errorf("%q: the error does not show it: %v", text, err)
		}
	}
	var r Ratio
	if err := json.Unmarshal([]byte(`"7:2"`), &r); err != nil || r != 3.5 {
		t.Errorf("%v, %v", r, err)
	}
	if _, err := json.Marshal(Ratio(0)); err == nil {
		t.Error("an invalid ratio was written")
	}
}

func FuzzParseRatio(f *testing.F) {
	for _, text := range []string{"4:1", "3.5:1", "0:0", "1:100", "9999999999:1", ":", "4:1:1", "4 :\t1"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ParseRatio(text)
		if err != nil {
			if r != 0 {
				t.Fatalf("%q: an error and the value %v", text, r)
			}
			return
		}
		if !r.Valid() {
			t.Fatalf("%q gave %v", text, float64(r))
		}
		again, err := ParseRatio(r.String())
		if err != nil || again != r {
			t.Fatalf("%q: %s read back as %v, %v", text, r, again, err)
		}
	})
}

// Whatever is wrong, doing what a correction says mends that fault, and nothing
// offered overfills the cup or is out of order.
func TestCorrectionsMend(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Limits{
			Ratio:        Ratio(rapid.Float64Range(0.5, 50).Draw(t, "ratio")),
			TolerancePct: rapid.Float64Range(0.5, 30).Draw(t, "tolerance"),
			DivisionG:    rapid.SampledFrom([]float64{0.01, 0.1, 0.5, 1, 2}).Draw(t, "division"),
		}
		l.ThinnerMinPct = rapid.Float64Range(0, 30).Draw(t, "min")
		l.ThinnerMaxPct = l.ThinnerMinPct + rapid.Float64Range(0.1, 20).Draw(t, "width")
		l.ThinnerPct = rapid.Float64Range(l.ThinnerMinPct, l.ThinnerMaxPct).Draw(t, "aim")
		if rapid.Bool().Draw(t, "limited") {
			l.CupMaximumG = rapid.Float64Range(50, 2000).Draw(t, "cup")
		}
		poured := Amounts{
			InkG:      rapid.Float64Range(1, 500).Draw(t, "ink"),
			HardenerG: rapid.Float64Range(0, 500).Draw(t, "hardener"),
			ThinnerG:  rapid.Float64Range(0, 200).Draw(t, "thinner"),
		}
		ratioWas := InTolerance(poured, l.Ratio, l.TolerancePct)
		last := 0.0
		for _, c := range Corrections(poured, l) {
			if c.Add.InkG < 0 || c.Add.HardenerG < 0 || c.Add.ThinnerG < 0 || c.Add.TotalG() <= 0 {
				t.Fatalf("adds less than nothing: %+v", c)
			}
			if c.Add.TotalG() < last {
				t.Fatalf("not fewest grams first")
			}
			last = c.Add.TotalG()
			after := poured.Plus(Ink, c.Add.InkG).Plus(Hardener, c.Add.HardenerG).Plus(Thinner, c.Add.ThinnerG)
			if !InTolerance(after, l.Ratio, l.TolerancePct) {
				t.Fatalf("ratio off by %v after %+v", Deviation(after, l.Ratio), c)
			}
			if ratioWas && !l.ThinnerInRange(after) {
				t.Fatalf("thinner %v %% after %+v", after.ThinnerPct(), c)
			}
			if c.To == ToExact && !ratioWas && math.Abs(Deviation(after, l.Ratio)) > 1e-9 {
				t.Fatalf("exact is off by %v", Deviation(after, l.Ratio))
			}
			if c.TotalG < after.TotalG()-1e-9 || l.CupMaximumG > 0 && c.TotalG > l.CupMaximumG*(1+1e-6) {
				t.Fatalf("total %v of %v in a cup of %v", c.TotalG, after.TotalG(), l.CupMaximumG)
			}
		}
	})
}

// TestThinnerWithinADivision: what the scale cannot show is no fault, and nobody is
// asked to pour it.
func TestThinnerWithinADivision(t *testing.T) {
	l := Limits{Ratio: 4, TolerancePct: 5, ThinnerPct: 10, ThinnerMinPct: 10, ThinnerMaxPct: 20, DivisionG: 0.1}
	for thinner, want := range map[float64]bool{7.4: true, 7.3: false, 7.5: true, 15.1: true, 15.2: false} {
		a := Amounts{InkG: 60, HardenerG: 15, ThinnerG: thinner}
		if got := l.ThinnerInRange(a); got != want {
			t.Errorf("%v g of thinner on 75 g, 10 to 20 %% wanted: in range %v, want %v", thinner, got, want)
		}
	}
}
