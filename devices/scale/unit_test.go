package scale

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"potlifed/model/weigh"
)

// The factors of NIST Handbook 44, Appendix C.
func TestUnitsInGrams(t *testing.T) {
	for _, c := range []struct {
		line string
		want float64
	}{
		{"1 g", 1}, {"1 kg", 1000}, {"1 lb", 453.59237}, {"1 oz", 28.349523125}, {"16 oz", 453.59237}, {"0.0625 lb", 28.349523125},
	} {
		r, err := decode(mustShape(t, "weight-unit"), []byte(c.line))
		if err != nil || math.Abs(r.Grams-c.want) > 1e-12*c.want {
			t.Errorf("%s: %v g, %v; want %v", c.line, r.Grams, err, c.want)
		}
	}
}

// A scale that leaves its unit out while the weight moves shows 87.4 g of a cup in kg; then
// somebody presses the unit key, and it never settles. 0.1927 is the cup in lb, not 192.7 g.
func TestAHiddenUnitThatChangesShowsNoWeight(t *testing.T) {
	d := synced(t, "weight-unit")
	readings, _ := feed(d, "   0.0874 kg", "   0.0874   ", "   0.0881   ", "   0.1927   ", "   0.1929   ", "   0.1941   ")
	for i, want := range []bool{true, true, true, false, false, false} {
		if readings[i].HasWeight != want {
			t.Errorf("line %d: %+v; want a weight: %v", i, readings[i], want)
		}
	}
	// The line that states the unit ends the doubt.
	readings, _ = feed(d, "   0.1941 lb", "   0.1950   ")
	if got := readings[0].Grams; math.Abs(got-0.1941*453.59237) > 1e-9 {
		t.Errorf("in lb: %v g", got)
	}
	if got := readings[1].Grams; math.Abs(got-0.195*453.59237) > 1e-9 {
		t.Errorf("in lb, hidden: %v g", got)
	}
}

// Whatever units somebody changes between while the unit is hidden, no weight is shown that
// is not on the pan, as long as the pan is not nearly empty.
func TestNoWeightInAnotherUnit(t *testing.T) {
	units := []unit{grams, kilograms, ounces, pounds}
	rapid.Check(t, func(rt *rapid.T) {
		from, to := rapid.SampledFrom(units).Draw(rt, "from"), rapid.SampledFrom(units).Draw(rt, "to")
		decimals := rapid.IntRange(0, 4).Draw(rt, "decimals")
		onPan := rapid.Float64Range(doubtFrom+1, 99999).Draw(rt, "counts") * gramsIn[from] / math.Pow10(decimals)
		number := func(in unit) string { return fmt.Sprintf("%10.*f", decimals, onPan/gramsIn[in]) }
		name := map[unit]string{grams: "g", kilograms: "kg", ounces: "oz", pounds: "lb"}[from]
		d := synced(t, "weight-unit")
		feed(d, number(from)+" "+name, number(from))
		shown := onPan
		for range rapid.IntRange(1, 5).Draw(rt, "lines") {
			readings, _ := feed(d, number(to))
			if len(readings) == 1 && readings[0].HasWeight {
				shown = readings[0].Grams
			}
			onPan += rapid.Float64Range(0, onPan/100).Draw(rt, "poured")
		}
		half := 0.51 * gramsIn[from] / math.Pow10(decimals)
		if math.Abs(shown-onPan) > 0.06*onPan+half {
			rt.Fatalf("shown %v g of %v g, %d decimals", shown, onPan, decimals)
		}
	})
}

// A pour on a scale that hides its unit is shown all the time.
func TestAPourWithAHiddenUnitIsShown(t *testing.T) {
	for name, step := range map[string]float64{"g": 0.5, "kg": 0.0005} {
		d := synced(t, "weight-unit")
		feed(d, fmt.Sprintf("%10.4f %s", 0.0, name))
		for i := range 200 {
			readings, errs := feed(d, fmt.Sprintf("%10.4f", float64(i)*step))
			if len(errs) > 0 || !readings[0].HasWeight || readings[0].Stability != weigh.Moving {
				t.Fatalf("%s: line %d: %+v, %v", name, i, readings, errs)
			}
		}
	}
}
