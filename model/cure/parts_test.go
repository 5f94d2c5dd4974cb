package cure

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"

	"potlifed/model/adhesion"
	"potlifed/model/air"
)

// The parts add up to the whole, and a part's share is what the band's variance loses without it.
func TestPartsAreWhatTheBandLosesWithoutThem(t *testing.T) {
	sheet := calibrate(t, Sheet{About: 7 * time.Hour})
	hot, place := air.State{TemperatureC: 30, HumidityPct: 60}, Place{Exposure: 0.5, Lag: 25 * time.Minute}
	sensor := Sensor{TemperatureAccuracyC: 1, HumidityAccuracyPct: 5}
	variance := func(change func(*Ink, *Sensor)) float64 {
		ink, by := sheet, sensor
		change(&ink, &by)
		c := New(ink, by, 0.07, hot)
		ends, mean, square, scatter := c.memberEnds(place, hot, 0), 0.0, 0.0, 0.0
		for i, end := range ends {
			mean, square = mean+end/Members, square+end*end/Members
			scatter += c.members[i].sigma * c.members[i].sigma / Members
		}
		return square - mean*mean + scatter
	}
	whole := variance(func(*Ink, *Sensor) {})
	spread, parts := New(sheet, sensor, 0.07, hot).parts(place, hot, 0, 0.07)
	near(t, "variance", spread*spread, whole, 1e-12)
	share, sum := map[string]float64{}, 0.0
	for i, p := range parts {
		share[p.Part] = p.Share
		sum += p.Share
		if !(p.Share > 0) || i > 0 && p.Share > parts[i-1].Share {
			t.Errorf("part %d: %+v", i, p)
		}
	}
	near(t, "sum", sum, 1, 1e-12)
	for _, row := range []struct {
		part    string
		without func(*Ink, *Sensor)
	}{
		{PartLife, func(i *Ink, _ *Sensor) { i.LifeLnSpread = 0 }}, {PartEnergy, func(i *Ink, _ *Sensor) { i.ActivationSpread = 0 }},
		{PartMoisture, func(i *Ink, _ *Sensor) { i.MoistureSpread = 0 }}, {PartSensor, func(_ *Ink, s *Sensor) { s.Exact = true }},
	} {
		near(t, row.part, share[row.part], 1-variance(row.without)/whole, 0.02)
	}
	near(t, PartWeighing, share[PartWeighing], 0.07*0.07/whole, 1e-9)
	if share[PartOther] > 0.05 {
		t.Errorf("the draws explain little: other %v", share[PartOther])
	}
}

func TestPartsOfABatchWithoutUncertainty(t *testing.T) {
	still := air.State{TemperatureC: 20, HumidityPct: 50}
	c := New(certain(calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour})), Sensor{Exact: true}, 0, still)
	_, parts := c.parts(Place{Exposure: 1}, still, 0, 0, WithoutDrift())
	if len(parts) != 1 || parts[0].Part != PartScatter || math.Abs(parts[0].Share-1) > 1e-9 {
		t.Errorf("%+v", parts)
	}
	c.Advance(Place{Exposure: 1}, Step{Duration: 100 * time.Hour, From: still, To: still, Kind: Measured})
	if _, again := c.parts(Place{Exposure: 1}, still, 0, 0); len(again) != 1 {
		t.Errorf("of a batch that is over: %+v", again)
	}
}

func TestWhatNarrowsMost(t *testing.T) {
	one, two := calibrate(t, Sheet{About: 7 * time.Hour}), calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour})
	for _, row := range []struct {
		ink   Ink
		parts []Part
		shopC float64
		heard bool
		want  string
	}{
		{two, []Part{{PartScatter, 0.6}, {PartLife, 0.3}, {PartAir, 0.1}}, 21, false, NarrowFlowTimes},
		{one, []Part{{PartScatter, 0.6}, {PartLife, 0.3}, {PartAir, 0.1}}, 21, true, NarrowTwoFigures},
		{two, []Part{{PartScatter, 0.6}, {PartLife, 0.3}, {PartAir, 0.1}}, 21, true, NarrowEnds},
		{two, []Part{{PartScatter, 0.6}, {PartLot, 0.3}, {PartAir, 0.1}}, 21, true, NarrowLotEnds},
		{two, []Part{{PartEnergy, 0.4}, {PartScatter, 0.4}, {PartLife, 0.2}}, 30, true, NarrowNearerFigure},
		{two, []Part{{PartAir, 0.9}, {PartScatter, 0.1}}, 21, false, NarrowForecast},
		{two, []Part{{PartWeighing, 0.5}, {PartScatter, 0.5}}, 21, true, NarrowWeighing},
		{two, []Part{{PartScatter, 1}}, 21, true, ""},
	} {
		all := row.ink.narrowings(Explained{LnSpread: 0.2, Parts: row.parts}, row.shopC, row.heard, 0)
		if row.want == "" && len(all) > 0 || row.want != "" && (len(all) == 0 || all[0].By != row.want) {
			t.Errorf("%+v: %+v, want %q", row.parts, all, row.want)
		}
	}
	// Two figures in place of one: what is told is what comes of it.
	a, sensor := air.State{TemperatureC: 21, HumidityPct: 45}, Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}
	width := func(ink Ink) float64 {
		ends := New(ink, sensor, 0.02, a).Forecast(Place{Exposure: 1}, a, 0)
		return math.Log(ends.High.Hours() / ends.Low.Hours())
	}
	explained, _ := New(one, sensor, 0.02, a).Explain(Place{Exposure: 1}, a, 0, 0.02)
	for _, told := range explained.Narrowings {
		if told.By == NarrowTwoFigures {
			near(t, "width", told.Width, width(two)/width(one), 0.05)
			return
		}
	}
	t.Error("two figures are not named")
}

// The lots' part of the scatter is a part of its own, and the whole is as wide as without the word for it.
func TestALotIsAPartOfItsOwn(t *testing.T) {
	still := air.State{TemperatureC: 20, HumidityPct: 50}
	ink := certain(calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}))
	whole, _ := New(ink, Sensor{Exact: true}, 0, still).parts(Place{Exposure: 1}, still, 0, 0, WithoutDrift())
	ink.LotLnSpread = ink.Sigma * math.Sqrt(0.3)
	spread, parts := New(ink, Sensor{Exact: true}, 0, still).parts(Place{Exposure: 1}, still, 0, 0, WithoutDrift())
	if len(parts) != 2 || parts[0].Part != PartScatter || parts[1].Part != PartLot {
		t.Fatalf("%+v", parts)
	}
	near(t, "lot", parts[1].Share, 0.3, 1e-9)
	near(t, "spread", spread, whole, 1e-12)
}

// The parts of a band of two ends: the adhesion end's part is what the variance of the earlier end loses when that end
// is known, by simulation; a later adhesion end has no part; and tests are what narrows a band that hangs on it.
func TestTheAdhesionEndIsAPart(t *testing.T) {
	still := air.State{TemperatureC: 20, HumidityPct: 50}
	ink := certain(calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}))
	for _, row := range []struct{ centre, spread float64 }{{0, 0.3}, {-0.3, 0.2}, {-0.6, 0.35}, {1.5, 0.2}} {
		var end adhesion.End
		for k := range end {
			end[k] = math.Log(ink.LRefH) + row.centre + row.spread*adhesion.Deviate(k)
		}
		c := New(ink, Sensor{Exact: true}, 0, still)
		if err := c.Adhere(&end); err != nil {
			t.Fatal(err)
		}
		e, ok := c.Explain(Place{Exposure: 1}, still, 0, 0, WithoutDrift())
		if !ok {
			t.Fatal("not explained")
		}
		share, sum := map[string]float64{}, 0.0
		for _, p := range e.Parts {
			share[p.Part], sum = p.Share, sum+p.Share
		}
		near(t, "sum", sum, 1, 1e-9)
		// Means over many visible ends for each of many adhesion ends.
		rng := rand.New(rand.NewPCG(20261130, 1))
		var means, all []float64
		for range 2000 {
			a, mean := row.centre+row.spread*rng.NormFloat64(), 0.0
			for range 200 {
				y := min(a, ink.Sigma*rng.NormFloat64())
				mean += y / 200
				all = append(all, y)
			}
			means = append(means, mean)
		}
		whole := stat.Variance(all, nil)
		near(t, "spread", e.LnSpread, math.Sqrt(whole), 0.01)
		near(t, "part", share[PartAdhesion], stat.Variance(means, nil)/whole, 0.03)
		best := ""
		if len(e.Narrowings) > 0 {
			best = e.Narrowings[0].By
		}
		if row.centre == -0.6 && best != NarrowTests {
			t.Errorf("narrowed by %q", best)
		}
	}
}

// Parts are asked for now and then: no step of air computes them. Budget: 1 ms on a desktop core.
func BenchmarkExplain(b *testing.B) {
	c := usualEnsemble(b)
	now := air.State{TemperatureC: 23, HumidityPct: 50}
	c.Advance(bench, Step{Duration: time.Hour, From: now, To: now, Kind: Measured})
	b.ReportAllocs()
	for b.Loop() {
		c.Explain(bench, now, 0, 0.028)
	}
}
