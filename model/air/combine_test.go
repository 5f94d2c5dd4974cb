package air

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestMeanByVapourPressure(t *testing.T) {
	// Saturation pressures over water of the CRC Handbook (97th edition, 6-5): 2.3388 kPa at 20 °C,
	// 3.1690 kPa at 25 °C, 2.7247 kPa at 22.5 °C (interpolated in the logarithm). Both sensors at 50 %:
	// e = (1.1694+1.5845)/2 kPa = 1.37695 kPa, which is 50.5 % at 22.5 °C.
	a := Mean([]Reading{{State{20, 50}, 0.3, 2}, {State{25, 50}, 0.3, 2}})
	if math.Abs(a.TemperatureC-22.5) > 1e-9 || math.Abs(a.HumidityPct-50.5) > 0.05 {
		t.Errorf("mean %.3f °C, %.3f %%; want 22.5 °C, 50.5 %%", a.TemperatureC, a.HumidityPct)
	}
	// Accuracies of 1 and 2 weigh 4 to 1: 20.2 °C.
	a = Mean([]Reading{{State{20, 50}, 1, 1}, {State{21, 50}, 2, 2}})
	if math.Abs(a.TemperatureC-20.2) > 1e-9 || math.Abs(a.AccuracyC-1.2) > 1e-9 {
		t.Errorf("mean %.3f °C ± %.3f; want 20.2 ± 1.2", a.TemperatureC, a.AccuracyC)
	}
}

func TestAgreeing(t *testing.T) {
	r := func(c, pct, accuracy float64) Reading { return Reading{State{c, pct}, 0.3, accuracy} }
	for _, c := range []struct {
		name     string
		readings []Reading
		want     []bool
	}{
		{"one", []Reading{r(20, 50, 2)}, []bool{true}},
		{"two that agree", []Reading{r(20, 50, 2), r(20.5, 51, 2)}, []bool{true, true}},
		{"the same vapour, one warmer by its own heat", []Reading{r(20, 50, 2), r(20.5, 48.5, 2)}, []bool{true, true}},
		{"the more accurate of two", []Reading{r(20, 70, 3), r(20, 50, 2)}, []bool{false, true}},
		{"the more humid of two", []Reading{r(20, 50, 2), r(20, 70, 2)}, []bool{false, true}},
		{"two against an accurate one", []Reading{r(20, 70, 1), r(20, 50, 3), r(20, 51, 3)}, []bool{false, true, true}},
		{"another temperature", []Reading{r(26, 50, 2), r(20, 50, 2), r(20, 50, 2)}, []bool{false, true, true}},
	} {
		got := Agreeing(c.readings)
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
				break
			}
		}
	}
}

var anyReading = rapid.Custom(func(t *rapid.T) Reading {
	return Reading{
		State:     State{rapid.Float64Range(15, 30).Draw(t, "c"), rapid.Float64Range(5, 95).Draw(t, "pct")},
		AccuracyC: rapid.Float64Range(0.1, 1).Draw(t, "±c"), AccuracyPct: rapid.Float64Range(0.5, 5).Draw(t, "±pct"),
	}
})

// spoken returns the mean of those that speak.
func spoken(all []Reading) Reading {
	var used []Reading
	for i, speaks := range Agreeing(all) {
		if speaks {
			used = append(used, all[i])
		}
	}
	return Mean(used)
}

// TestCombinedIsWithin: temperature and vapour pressure lie between the least and the largest of the
// sensors, whatever their order.
func TestCombinedIsWithin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := rapid.SliceOfN(anyReading, 1, 5).Draw(t, "readings")
		m := spoken(all)
		var c, e [2]float64
		c, e = [2]float64{math.Inf(1), math.Inf(-1)}, [2]float64{math.Inf(1), math.Inf(-1)}
		for _, r := range all {
			c = [2]float64{min(c[0], r.TemperatureC), max(c[1], r.TemperatureC)}
			e = [2]float64{min(e[0], r.VapourPressurePa()), max(e[1], r.VapourPressurePa())}
		}
		if m.TemperatureC < c[0] || m.TemperatureC > c[1] {
			t.Fatalf("%v °C is outside %v", m.TemperatureC, c)
		}
		if p := m.VapourPressurePa(); p < e[0]*(1-1e-12) || p > e[1]*(1+1e-12) {
			t.Fatalf("%v Pa is outside %v", p, e)
		}
		again := spoken(rapid.Permutation(all).Draw(t, "another order"))
		if math.Abs(again.TemperatureC-m.TemperatureC) > 1e-9 || math.Abs(again.HumidityPct-m.HumidityPct) > 1e-9 {
			t.Fatalf("in another order %v, not %v", again.State, m.State)
		}
	})
}

// TestOneWrongOfThree: two sensors read the same temperature and the same vapour pressure within half of
// their accuracy, the third reads anything. The zone moves by no more than the accuracy of the two.
func TestOneWrongOfThree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := anyReading.Draw(t, "right")
		b, wrong := a, anyReading.Draw(t, "wrong")
		b.TemperatureC += rapid.Float64Range(-0.5, 0.5).Draw(t, "off c") * a.AccuracyC
		full := SaturationPressurePa((a.TemperatureC + b.TemperatureC) / 2)
		e := a.VapourPressurePa() + rapid.Float64Range(-0.5, 0.5).Draw(t, "off pct")*a.AccuracyPct/100*full
		b.HumidityPct = min(100*e/SaturationPressurePa(b.TemperatureC), 100)
		wrong.AccuracyC, wrong.AccuracyPct = a.AccuracyC, a.AccuracyPct
		two, three := Mean([]Reading{a, b}), spoken([]Reading{a, b, wrong})
		if d := math.Abs(two.TemperatureC - three.TemperatureC); d > a.AccuracyC {
			t.Fatalf("the wrong one moves the temperature by %v K, accuracy %v", d, a.AccuracyC)
		}
		at := SaturationPressurePa(two.TemperatureC)
		if d := 100 * math.Abs(two.VapourPressurePa()-three.VapourPressurePa()) / at; d > a.AccuracyPct {
			t.Fatalf("the wrong one moves the humidity by %v %%, accuracy %v", d, a.AccuracyPct)
		}
	})
}
