package cure

import (
	"math"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/viscosity"
)

// An open batch whose lot becomes known has the ensemble that it would have had from the beginning.
func TestBecomeIsAsIfKnownFromTheBeginning(t *testing.T) {
	before := calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour})
	before.SigmaLearned, before.SigmaLnSpread = true, 0.2
	after := before
	after.LRefH *= 0.85
	after.LifeLnSpread *= 0.6
	after.Sigma = 0.11
	lived := func(ink Ink) *Ensemble {
		c := New(ink, Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0, air.State{TemperatureC: 21, HumidityPct: 45})
		c.Advance(Place{Exposure: 0.5, Lag: 25 * time.Minute}, Step{Duration: 4 * time.Hour, From: air.State{TemperatureC: 21, HumidityPct: 45}, To: air.State{TemperatureC: 26, HumidityPct: 60}, Kind: Measured})
		return c
	}
	moved, want := lived(before), lived(after)
	if !moved.Become(after) {
		t.Fatal("refused")
	}
	now := air.State{TemperatureC: 26, HumidityPct: 60}
	got, from := moved.Forecast(Place{Exposure: 0.5, Lag: 25 * time.Minute}, now, 0), want.Forecast(Place{Exposure: 0.5, Lag: 25 * time.Minute}, now, 0)
	near(t, "spent", moved.Spent(), want.Spent(), 1e-12)
	near(t, "expected", got.Expected.Hours()/from.Expected.Hours(), 1, 1e-3)
	// The quantiles of a truncated ln sigma do not move with its centre exactly.
	near(t, "low", got.Low.Hours()/from.Low.Hours(), 1, 3e-3)
	near(t, "high", got.High.Hours()/from.High.Hours(), 1, 3e-3)

	if !moved.Become(before) {
		t.Fatal("refused to go back")
	}
	back, plain := moved.Forecast(Place{Exposure: 1}, now, 0), lived(before).Forecast(Place{Exposure: 1}, now, 0)
	near(t, "low again", back.Low.Hours(), plain.Low.Hours(), 1e-6)
	near(t, "high again", back.High.Hours(), plain.High.Hours(), 1e-6)
}

// An instrument that has begun to follow a batch does not keep it from becoming that of its lot: a lot that ends
// early makes it end as early as one that is not followed, and what the instrument said counts on.
func TestBecomeOfABatchThatIsFollowed(t *testing.T) {
	before := calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour})
	before.SigmaLearned, before.SigmaLnSpread = true, 0.2
	after := before
	after.LRefH *= 0.75
	curve := viscosity.AssumedTrend()
	curve.RiseSpread, curve.Ends = 0.05*curve.Rise, viscosity.LeastEnds
	a := air.State{TemperatureC: 21, HumidityPct: 45}
	lived := func(ink Ink, samples int) *Ensemble {
		c := New(ink, Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0, a)
		for k := range 4 {
			if k < samples {
				of := viscosity.Sample{LnRuns: []float64{0.13 * float64(k)}, RunSpread: 0.003, Drift: 0.01 * float64(k), TemperatureC: 21}
				if err := c.Follow(uint64(k+1), curve, of, TrendContinues); err != nil {
					t.Fatal(err)
				}
			}
			c.Advance(Place{Exposure: 1}, Step{Duration: time.Hour, From: a, To: a, Kind: Measured})
		}
		return c
	}
	for samples := range 5 {
		moved, want := lived(before, samples), lived(after, samples)
		if !moved.Become(after) {
			t.Fatalf("refused after %d samples", samples)
		}
		got, from := moved.Forecast(Place{Exposure: 1}, a, 0), want.Forecast(Place{Exposure: 1}, a, 0)
		near(t, "low", got.Low.Hours()/from.Low.Hours(), 1, 3e-3)
		near(t, "expected", got.Expected.Hours()/from.Expected.Hours(), 1, 3e-3)
		near(t, "high", got.High.Hours()/from.High.Hours(), 1, 3e-3)
	}
	heard := lived(before, 2)
	if err := heard.Hear(9, viscosity.Assumed(), viscosity.Sample{LnRuns: []float64{5, 5.01}, RunSpread: 0.02, TemperatureC: 21}); err != nil {
		t.Fatal(err)
	}
	if was := marshal(t, heard); heard.Become(after) || marshal(t, heard) != was {
		t.Error("a batch with a flow time becomes that of its lot")
	}
}

// A level that the risk passed by the old life and is below by the new one is not passed any more.
func TestBecomeLooksAtTheLevelsAgain(t *testing.T) {
	ink, a := calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}), air.State{TemperatureC: 20, HumidityPct: 50}
	c := New(ink, Sensor{Exact: true}, 0, a)
	c.Advance(Place{Exposure: 1}, Step{Duration: 6 * time.Hour, From: a, To: a, Kind: Measured})
	if c.Risk() < LowRisk {
		t.Fatalf("risk %v: then this test shows nothing", c.Risk())
	}
	longer := ink
	longer.LRefH *= 1.4
	if !c.Become(longer) || c.Risk() >= LowRisk {
		t.Fatalf("risk %v", c.Risk())
	}
	if low := c.Forecast(Place{Exposure: 1}, a, 0).Low; low <= 6*time.Hour {
		t.Errorf("low is %v, in the past", low)
	}
	shorter := ink
	shorter.LRefH *= 0.7
	if !c.Become(shorter) || c.Risk() < ExpectedRisk {
		t.Fatalf("risk %v", c.Risk())
	}
	if expected := c.Forecast(Place{Exposure: 1}, a, 0).Expected; expected != 6*time.Hour {
		t.Errorf("expected is %v, want now", expected)
	}
}

func TestBecomeRefusesAnotherInk(t *testing.T) {
	a := air.State{TemperatureC: 20, HumidityPct: 50}
	c := New(calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}), Sensor{}, 0, a)
	was := marshal(t, c)
	for what, change := range map[string]func(*Ink){
		"energy": func(i *Ink) { i.ActivationKJPerMol = 60 }, "share": func(i *Ink) { i.MoistureShare = 0.4 },
		"temperature": func(i *Ink) { i.AtTemperatureC = 23 }, "life": func(i *Ink) { i.LRefH = math.NaN() }, "sigma": func(i *Ink) { i.Sigma = 2 },
	} {
		ink := calibrate(t, Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour})
		change(&ink)
		if c.Become(ink) || marshal(t, c) != was {
			t.Errorf("another %s is taken", what)
		}
	}
}
