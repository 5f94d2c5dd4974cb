package cure

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
)

func fastInk(t testing.TB) Ink {
	t.Helper()
	ink, err := Sheet{Shortest: 100 * time.Minute, Longest: 140 * time.Minute}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	return ink
}

// Only a fast system whose life is the data sheet's warms itself.
func TestOnlyFastSystemsWarmThemselves(t *testing.T) {
	fast, slow := fastInk(t), calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour})
	learned := fast
	learned.LifeLnSpread = 0.04
	room := air.State{TemperatureC: 23, HumidityPct: 50}
	for _, ink := range []Ink{fast, slow.OfMass(5000), learned.OfMass(5000), fast.OfMass(0), fast.OfMass(-3), fast.OfMass(math.NaN())} {
		if ink.BatchG != 0 || ink.warming(room) != 0 {
			t.Errorf("%+v warms itself", ink)
		}
	}
	if got := fast.OfMass(300); got.BatchG != 300 || got.Valid() != nil || got.OfMass(0) != fast {
		t.Errorf("%+v: %v", got, got.Valid())
	}
}

// With all its heat kept, the mix is D · adiabaticK warmer at a spent life of D, and lives for the integral of
// 1/rate over D. A mix of a tonne keeps all but nothing of it; one of a gram is as cold as the air.
func TestWarmingIsBetweenNoneAndAdiabatic(t *testing.T) {
	ink, room := fastInk(t), air.State{TemperatureC: 23, HumidityPct: 50}
	hours := 0.0
	for k := range 1000 {
		hours += 1.0 / 1000 / ink.Rate(room.TemperatureC+adiabaticK*(float64(k)+0.5)/1000, room.VapourPressurePa(), 1)
	}
	limit := -math.Log(hours * ink.Rate(room.TemperatureC, room.VapourPressurePa(), 1))
	if got := ink.OfMass(1e6).warming(room); !(got > 0.95*limit && got < limit) {
		t.Errorf("a tonne: %v, without any loss of heat %v", got, limit)
	}
	// The same balance in small steps of time.
	const step = 1e-5
	dose, risen, age := 0.0, 0.0, 0.0
	for ; dose < 1; age += step {
		rate := ink.Rate(room.TemperatureC+risen, room.VapourPressurePa(), 1)
		dose += rate * step
		risen += (adiabaticK*rate - risen/(coolingH*math.Cbrt(300/coolingMassG))) * step
	}
	near(t, "300 g", ink.OfMass(300).warming(room), -math.Log(age*ink.Rate(room.TemperatureC, room.VapourPressurePa(), 1)), 1e-4)
	rapid.Check(t, func(t *rapid.T) {
		a := air.State{TemperatureC: rapid.Float64Range(-10, 60).Draw(t, "celsius"), HumidityPct: rapid.Float64Range(0, 100).Draw(t, "pct")}
		g := rapid.Float64Range(1, 1e5).Draw(t, "g")
		less, more := ink.OfMass(g).warming(a), ink.OfMass(1.5*g).warming(a)
		if !(0 <= less && less <= more && more < adiabaticK*0.07*2) {
			t.Errorf("%v g: %v, with half as much again %v", g, less, more)
		}
	})
}

// No end is later for a batch that warms itself, its low comes earlier by more than its high, and the spent life
// that is shown is the same.
func TestWarmingShortensTheLow(t *testing.T) {
	ink, room, place := fastInk(t), air.State{TemperatureC: 23, HumidityPct: 50}, Place{Exposure: 1}
	ends := func(g float64) Ends {
		return New(ink.OfMass(g), Sensor{Exact: true}, 0, room).Forecast(place, room, 0, WithoutDrift())
	}
	plain, small, large := ends(0), ends(75), ends(1000)
	for _, row := range []struct{ less, more Ends }{{plain, small}, {small, large}} {
		low, high := row.less.Low-row.more.Low, row.less.High-row.more.High
		if !(low > 0 && high >= 0 && row.more.Expected < row.less.Expected) {
			t.Errorf("%+v, with more mass %+v", row.less, row.more)
		}
	}
	if lost := float64(plain.Low-large.Low) / float64(plain.Low); !(lost > float64(plain.High-large.High)/float64(plain.High)) {
		t.Errorf("low is earlier by %.1f %%, and high by more", 100*lost)
	}
	c, d := New(ink, Sensor{Exact: true}, 0, room), New(ink.OfMass(1000), Sensor{Exact: true}, 0, room)
	for _, e := range []*Ensemble{c, d} {
		e.Advance(place, Step{Duration: time.Hour, From: room, To: room, Kind: Measured})
	}
	if c.Spent() != d.Spent() {
		t.Errorf("spent %v and %v", c.Spent(), d.Spent())
	}
}

// Where half of the data sheets were measured on a sample that did not warm itself and half on one that did as
// much, about a tenth of batches end before low. Without the heat balance, twice as many do.
func TestLowOfABatchThatWarmsItself(t *testing.T) {
	const batches = 4000
	ink, room, place := fastInk(t), air.State{TemperatureC: 23, HumidityPct: 50}, Place{Exposure: 1}
	for _, g := range []float64{75, 300} {
		heated := ink.OfMass(g)
		before := New(ink, Sensor{Exact: true}, 0, room).Forecast(place, room, 0, WithoutDrift()).Low.Hours()
		after := New(heated, Sensor{Exact: true}, 0, room).Forecast(place, room, 0, WithoutDrift()).Low.Hours()
		rng := rand.New(rand.NewPCG(20261130, uint64(g)))
		var early, earlyBefore, earlyIncluded float64
		for range batches {
			life := StillAir(ink, place, room).LifeH * math.Exp(ink.LifeLnSpread*rng.NormFloat64()+ink.Sigma*math.Exp(ink.SigmaLnSpread*rng.NormFloat64())*rng.NormFloat64())
			warm := life * math.Exp(-heated.warming(room))
			for into, is := range map[*float64]bool{&early: warm < after, &earlyBefore: warm < before, &earlyIncluded: life < after} {
				if is {
					*into += 100.0 / batches
				}
			}
		}
		t.Logf("%v g, shorter by %.1f %% at most: %.1f %% end before low, without the heat balance %.1f %%; where the figure includes it %.1f %%",
			g, 100*(1-math.Exp(-heated.warming(room))), early, earlyBefore, earlyIncluded)
		if half := (early + earlyIncluded) / 2; !(half >= 7 && half <= 13 && early < 0.75*earlyBefore) {
			t.Errorf("%v g: %.1f %% end before low, %.1f %% of them where the sample was cold; without the heat balance %.1f %%", g, half, early, earlyBefore)
		}
	}
}
