package evaporate

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.10g, want %.10g ± %g", what, got, want, tolerance)
	}
}

// The flux is Mackay & van Wesenbeeck 2014, Environ. Sci. Technol.; vapour pressures at 20 °C
// from memory; the figures computed with a second implementation in Python.
func TestFluxAndACupOfPureThinner(t *testing.T) {
	for _, row := range []struct {
		name          string
		pa, molar     float64
		flux, gPerH   float64
		fluxTolerance float64
	}{
		{"a cyclic ketone", 500, 98.14, 71.84, 0.2031, 0.005},
		{"butyl acetate", 1200, 116.16, 204.07, 0.5770, 0.005},
	} {
		near(t, row.name+": flux", fluxGPerM2H(row.pa, row.molar), row.flux, row.fluxTolerance)
		cup := Opening{MouthMM: 60, Exposure: 1}
		near(t, row.name+": 6 cm cup", cup.rateGPerH(Thinner{row.pa, row.molar}), row.gPerH, 5e-5)
		cup.Exposure = 0.5
		near(t, row.name+": loosely covered", cup.rateGPerH(Thinner{row.pa, row.molar}), row.gPerH/2, 5e-5)
		cup.Exposure = 0
		near(t, row.name+": under a lid", cup.rateGPerH(Thinner{row.pa, row.molar}), 0, 0)
	}
	// As a mass transfer coefficient: flux / (P M / R T) = 3.6 m/h, as published.
	near(t, "mass transfer", fluxGPerM2H(500, 98.14)/(500*98.14/(8.314462618*293.15)), 3.6, 0.05)
}

var (
	ketone = Thinner{VapourPressurePa: 500, MolarMassG: 98.14}
	cup90  = Opening{MouthMM: DefaultMouthMM, Exposure: 1}
)

// euler is the same loss in small steps of the differential equation, with nothing of the closed form.
func euler(thinnerG, restG float64, t Thinner, o Opening, hours float64, steps int) float64 {
	m := thinnerG
	slope := func(m float64) float64 {
		n := m / t.MolarMassG
		return 1464e-6 * t.VapourPressurePa * t.MolarMassG * math.Pi * math.Pow(o.MouthMM/2000, 2) * o.Exposure * n / (n + restG/restMolarMassG)
	}
	dt := hours / float64(steps)
	for range steps {
		half := m - slope(m)*dt/2
		m -= slope(half) * dt
	}
	return m
}

func TestDepletionAgainstSmallSteps(t *testing.T) {
	for _, row := range []struct{ thinner, rest, hours float64 }{{7.5, 75, 8}, {7.5, 75, 200}, {15, 75, 24}, {0.5, 75, 40}, {60, 5, 100}} {
		c, err := NewCup(row.rest, row.thinner)
		if err != nil {
			t.Fatal(err)
		}
		c = c.Stood(ketone, cup90, Stretch{time.Duration(row.hours * float64(time.Hour)), 20, 20})
		near(t, "left", c.thinnerG(), euler(row.thinner, row.rest, ketone, cup90, row.hours, 20000), 1e-6)
	}
}

// An hour of the usual mix: 0.457 g/h of pure thinner from a 90 mm mouth, times a mole fraction
// of (7.5/98.14)/(7.5/98.14+75/200).
func TestFirstHourOfTheUsualMix(t *testing.T) {
	c, err := NewCup(75, 7.5)
	if err != nil {
		t.Fatal(err)
	}
	c = c.Stood(ketone, cup90, Stretch{time.Hour, 20, 20})
	near(t, "lost in an hour", c.LostG(), 0.4570*0.16929, 6e-4)
}

func TestWarmerIsFaster(t *testing.T) {
	c, err := NewCup(75, 7.5)
	if err != nil {
		t.Fatal(err)
	}
	lost := func(from, to float64) float64 { return c.Stood(ketone, cup90, Stretch{time.Hour, from, to}).LostG() }
	// exp(44000/8.314462618 (1/293.15 - 1/303.15)) = 1.8138; less than that is lost, since the
	// thinner gets less on the way.
	near(t, "30 °C against 20", lost(30, 30)/lost(20, 20), 1.8138, 0.01)
	if between := lost(20, 30); !(between > lost(20, 20) && between < lost(30, 30)) {
		t.Errorf("a ramp from 20 to 30 °C loses %v", between)
	}
	// A ramp of 60 K against a thousand straight pieces.
	ramp := c
	for i := range 1000 {
		ramp = ramp.Stood(ketone, cup90, Stretch{time.Hour / 1000, 0 + 0.06*float64(i), 0.06 * float64(i+1)})
	}
	near(t, "ramp", lost(0, 60), ramp.LostG(), 1e-6)
}

func TestOneLongStretchEqualsManyShortOnes(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := Cup{
			CatalysedG: rapid.Float64Range(0.01, 1000).Draw(r, "catalysed"),
			PouredG:    rapid.Float64Range(0, 500).Draw(r, "thinner"),
		}
		thinner := Thinner{rapid.Float64Range(1, 50000).Draw(r, "Pa"), rapid.Float64Range(20, 300).Draw(r, "molar")}
		minutes := rapid.IntRange(1, 5000).Draw(r, "minutes")
		parts := rapid.IntRange(2, 20).Draw(r, "parts")
		whole := c.Stood(thinner, cup90, Stretch{time.Duration(minutes*parts) * time.Minute, 23, 23})
		short := c
		for range parts {
			before := short.thinnerG()
			short = short.Stood(thinner, cup90, Stretch{time.Duration(minutes) * time.Minute, 23, 23})
			if left := short.thinnerG(); left > before || left < 0 || math.IsNaN(left) {
				r.Fatalf("%v g, then %v g", before, left)
			}
		}
		if math.Abs(whole.thinnerG()-short.thinnerG()) > 1e-9*(1+c.PouredG) {
			r.Fatalf("at once %v, in %d parts %v", whole.thinnerG(), parts, short.thinnerG())
		}
	})
}

func TestNoNumberEscapes(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := Cup{CatalysedG: rapid.Float64Range(0, 1e6).Draw(r, "catalysed"), PouredG: rapid.Float64Range(0, 1e6).Draw(r, "thinner"),
			AimPct: rapid.Float64Range(0, 100).Draw(r, "aim")}
		s := Stretch{time.Duration(rapid.Int64().Draw(r, "ns")), rapid.Float64().Draw(r, "from"), rapid.Float64().Draw(r, "to")}
		o := Opening{rapid.Float64Range(1, 1000).Draw(r, "mouth"), rapid.Float64Range(0, 1).Draw(r, "exposure")}
		thinner := Thinner{rapid.Float64Range(1e-9, 100e3).Draw(r, "Pa"), rapid.Float64Range(10, 1000).Draw(r, "molar")}
		c = c.Stood(thinner, o, s)
		a := c.Advise(20, 2)
		for _, x := range []float64{c.thinnerG(), c.LostG(), c.ThinnerPct(), a.AddG, a.WholeG, a.PouredPct, a.ThinnerPct} {
			if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
				r.Fatalf("%+v %+v", c, a)
			}
		}
		if c.LostG() > c.PouredG*(1+1e-12) {
			r.Fatalf("more lost than was poured: %+v", c)
		}
	})
}

func TestValid(t *testing.T) {
	for _, x := range []Thinner{{0, 98}, {500, 0}, {}} {
		if err := x.Valid(); !errors.Is(err, errUnknownThinner) {
			t.Errorf("%+v: %v", x, err)
		}
	}
	for _, x := range []Thinner{{-1, 98}, {1e6, 98}, {500, 5}, {math.NaN(), 98}, {500, math.Inf(1)}} {
		if err := x.Valid(); err == nil || errors.Is(err, errUnknownThinner) {
			t.Errorf("%+v: %v", x, err)
		}
	}
	for _, x := range []Opening{{0, 1}, {90, -0.1}, {90, 1.1}, {math.NaN(), 1}, {90, math.NaN()}} {
		if x.Valid() == nil {
			t.Errorf("%+v is valid", x)
		}
	}
	if ketone.Valid() != nil || cup90.Valid() != nil {
		t.Error("the usual is not valid")
	}
}

// Budget: some microseconds; a bench asks for each open batch each minute.
func BenchmarkStood(b *testing.B) {
	c := Cup{CatalysedG: 75, PouredG: 7.5, AimPct: 10}
	for b.Loop() {
		c.Stood(ketone, cup90, Stretch{time.Minute, 22, 22.1})
	}
}
