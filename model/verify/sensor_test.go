package verify

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestSalts compares with Greenspan 1977, table 2, in % RH. The polynomials of his table 1 have
// fewer digits, so the tables differ by up to 0.02.
func TestSalts(t *testing.T) {
	for id, want := range map[string]map[float64]float64{
		"lithium-chloride":    {10: 11.29, 20: 11.31, 25: 11.30, 30: 11.28, 40: 11.21},
		"magnesium-chloride":  {10: 33.47, 20: 33.07, 25: 32.78, 30: 32.44, 40: 31.60},
		"potassium-carbonate": {10: 43.14, 20: 43.16, 25: 43.16, 30: 43.17},
		"sodium-chloride":     {10: 75.67, 15: 75.61, 20: 75.47, 25: 75.29, 30: 75.09, 40: 74.68},
		"potassium-chloride":  {10: 86.77, 20: 85.11, 25: 84.34, 30: 83.62, 40: 82.32},
		"potassium-sulphate":  {10: 98.18, 20: 97.59, 25: 97.30, 30: 97.00, 40: 96.41},
	} {
		s, ok := FindSalt(id)
		if !ok {
			t.Fatalf("no salt %s", id)
		}
		for celsius, pct := range want {
			got, u, err := s.HumidityPct(celsius)
			if err != nil || math.Abs(got-pct) > 0.021 {
				t.Errorf("%s at %v °C: %.3f %%, %v; want %v", id, celsius, got, err, pct)
			}
			if !(u > 0.1 && u < 1) {
				t.Errorf("%s at %v °C: uncertain by %v %%", id, celsius, u)
			}
		}
		for _, celsius := range []float64{-5, 45, math.NaN()} {
			if got, _, err := s.HumidityPct(celsius); err == nil {
				t.Errorf("%s at %v °C: %v %%, want an error", id, celsius, got)
			}
		}
	}
	if _, ok := FindSalt("sugar"); ok {
		t.Error("sugar is a salt")
	}
}

// TestLineAgainstThermometer is the worked example of JCGM 100:2008, H.3: the calibration of a
// thermometer at eleven temperatures. Its corrections follow -0.1712 °C + 0.00218 (t - 20 °C),
// with standard deviations of 0.0029 °C and 0.00067, and a correlation of -0.930. There the figures
// are in °C, and the line is that of the corrections, so 1 is added to the gain here.
func TestLineAgainstThermometer(t *testing.T) {
	read := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	correction := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	var points []Point
	for i, x := range read {
		points = append(points, Point{RawPct: x - 20, ReferencePct: x - 20 + correction[i], StandardPct: 1e-6})
	}
	c := fit(points)
	for _, v := range []struct {
		name               string
		got, want, roundTo float64
	}{
		{"offset", c.OffsetPct, -0.1712, 5e-5},
		{"gain", c.Gain - 1, 0.00218, 5e-6},
		{"its uncertainty", c.GainStandard, 0.00067, 5e-6},
		{"that of the offset", c.OffsetStandardPct, 0.0029, 5e-5},
		{"their correlation", c.Covariance / c.GainStandard / c.OffsetStandardPct, -0.930, 5e-4},
		{"the correction at 30 °C", c.OffsetPct + (c.Gain-1)*10, -0.1494, 5e-5},
		{"its uncertainty", c.StandardPct(10), 0.0041, 5e-5},
	} {
		if math.Abs(v.got-v.want) > v.roundTo {
			t.Errorf("%s: %v, want %v", v.name, v.got, v.want)
		}
	}
}

// TestTwoPoints is worked by hand. A sensor reads 34.0 % over magnesium chloride at 20 °C, where
// it is 33.07 %, and 71.5 % over sodium chloride, where it is 75.48 %. Each difference is uncertain
// by 0.5 %.
//
//	gain   = (75.48 - 33.07) / (71.5 - 34.0) = 1.13093
//	offset = 33.07 - 1.13093 · 34.0          = -5.3817
//	u(gain) = 0.5 √2 / 37.5                  = 0.018856
//	u at the middle, 52.75 %                 = 0.5 / √2 = 0.35355, and at either point 0.5
func TestTwoPoints(t *testing.T) {
	c, err := Correct([]Point{{34.0, 33.07, 0.5}, {71.5, 75.48, 0.5}})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []struct {
		name            string
		got, want, most float64
	}{
		{"gain", c.Gain, 1.13093, 1e-5},
		{"offset", c.OffsetPct, -5.3817, 2e-4},
		{"u(gain)", c.GainStandard, 0.018856, 1e-6},
		{"u in the middle", c.StandardPct(52.75), 0.353553, 1e-6},
		{"u at the dry point", c.StandardPct(34.0), 0.5, 1e-9},
		{"u at the humid point", c.StandardPct(71.5), 0.5, 1e-9},
		{"the dry point", c.Apply(34.0), 33.07, 1e-9},
		{"the humid point", c.Apply(71.5), 75.48, 1e-9},
	} {
		if math.Abs(v.got-v.want) > v.most {
			t.Errorf("%s: %v, want %v", v.name, v.got, v.want)
		}
	}
}

func TestOnePointGivesTheOffset(t *testing.T) {
	c, err := Correct([]Point{{53, 55, 0.6}})
	if err != nil || c.Gain != 1 || c.OffsetPct != 2 || c.StandardPct(20) != 0.6 || c.StandardPct(80) != 0.6 {
		t.Errorf("%+v, %v", c, err)
	}
	// Two points that lie close together: their weighted mean, 1.2 = (4·1 + 1·2)/5, with 1/√5.
	c, err = Correct([]Point{{53, 54, 0.5}, {55, 57, 1}})
	if err != nil || c.Gain != 1 || math.Abs(c.OffsetPct-1.2) > 1e-12 || math.Abs(c.StandardPct(50)-1/math.Sqrt(5)) > 1e-12 {
		t.Errorf("%+v, %v", c, err)
	}
	if _, err := line([]Point{{53, 54, 0.5}, {55, 57, 1}}); !errors.Is(err, errSame) {
		t.Errorf("a line through points 2 %% apart: %v", err)
	}
	for _, points := range [][]Point{nil, {{50, 51, 0}}, {{math.NaN(), 51, 1}}} {
		if c, err := Correct(points); err == nil {
			t.Errorf("%v: %+v", points, c)
		}
	}
}

func TestFind(t *testing.T) {
	for name, c := range map[string]struct {
		points []Point
		want   Finding
	}{
		"right":                        {[]Point{{33.4, 33.07, 1}, {75.0, 75.47, 1}}, NothingFound},
		"low at 75 %, right at 33 %":   {[]Point{{32.5, 33.07, 1}, {66, 75.47, 1}}, Solvent},
		"low at 75 % and nothing else": {[]Point{{66, 75.47, 1}}, Shifted},
		"low at both":                  {[]Point{{26, 33.07, 1}, {66, 75.47, 1}}, Shifted},
		"high at 75 %, right at 33 %":  {[]Point{{33, 33.07, 1}, {84, 75.47, 1}}, NothingFound},
		"low at one, high at another":  {[]Point{{40, 33.07, 1}, {66, 75.47, 1}}, NothingFound},
	} {
		if got := Find(c.points, 3); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

func TestOfferedCorrections(t *testing.T) {
	for c, want := range map[LinearCorrection]bool{
		{OffsetPct: 4, Gain: 1}: true, {OffsetPct: -11, Gain: 1}: false, {OffsetPct: -5.4, Gain: 1.131}: true, {OffsetPct: 0, Gain: 1.3}: false,
	} {
		if got := c.Fit(); got != want {
			t.Errorf("%+v is offered: %v, want %v", c, got, want)
		}
	}
	if got := (LinearCorrection{}).Apply(53.2); got != 53.2 {
		t.Errorf("no correction makes %v of 53.2", got)
	}
}

// TestCorrectionProperties: what is corrected stays between 0 and 100 %; a correction through two
// points is exact there and never surer than between them; and a sensor with a gain and an offset
// of its own is found out.
func TestCorrectionProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gain, offset := rapid.Float64Range(0.8, 1.25).Draw(t, "gain"), rapid.Float64Range(-8, 8).Draw(t, "offset")
		read := func(truth float64) float64 { return (truth - offset) / gain }
		u := rapid.Float64Range(0.1, 2).Draw(t, "u")
		points := []Point{{read(33.07), 33.07, u}, {read(75.47), 75.47, u}}
		c, err := line(points)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.Gain-gain) > 1e-9 || math.Abs(c.OffsetPct-offset) > 1e-7 {
			t.Fatalf("%+v, want %v and %v", c, offset, gain)
		}
		x := rapid.Float64Range(0, 100).Draw(t, "reading")
		if y := c.Apply(x); y < 0 || y > 100 {
			t.Fatalf("%v becomes %v", x, y)
		}
		middle := (points[0].RawPct + points[1].RawPct) / 2
		if c.StandardPct(x) < c.StandardPct(middle)-1e-9 {
			t.Fatalf("surer at %v than in the middle", x)
		}
	})
}
