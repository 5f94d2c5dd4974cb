package cure

import (
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/viscosity"
)

func usualEnsemble(t testing.TB) *Ensemble {
	t.Helper()
	ink, err := Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	return New(ink, Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0.028, air.State{TemperatureC: 21, HumidityPct: 48})
}

var bench = Place{Exposure: 1, Lag: 25 * time.Minute}

// A minute of one batch. Budget: 10 µs on a desktop core and 100 µs on a Raspberry Pi, where 20
// batches then cost 2 ms a minute. No allocation.
func BenchmarkAdvanceMinute(b *testing.B) {
	step := Step{Duration: time.Minute, From: air.State{TemperatureC: 23, HumidityPct: 50}, To: air.State{TemperatureC: 23.1, HumidityPct: 50.4}, Kind: Measured}
	old := usualEnsemble(b)
	for range 5 * 60 {
		old.Advance(bench, step)
	}
	for name, start := range map[string]*Ensemble{"young": usualEnsemble(b), "old": old, "measured": heardEnsemble(b)} {
		b.Run(name, func(b *testing.B) {
			c := start.Clone()
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				if n++; n%30 == 0 {
					b.StopTimer()
					c = start.Clone()
					b.StartTimer()
				}
				c.Advance(bench, step)
			}
		})
	}
}

// Each open batch's ends, once a minute and at each change. Budget: 1 ms on a desktop core.
func BenchmarkForecast(b *testing.B) {
	c := usualEnsemble(b)
	now := air.State{TemperatureC: 23, HumidityPct: 50}
	c.Advance(bench, Step{Duration: time.Hour, From: now, To: now, Kind: Measured})
	b.ReportAllocs()
	for b.Loop() {
		c.Forecast(bench, now, 0)
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		usualEnsemble(b)
	}
}

func BenchmarkMarshal(b *testing.B) {
	c := usualEnsemble(b)
	b.ReportAllocs()
	for b.Loop() {
		text, err := c.MarshalJSON()
		if err != nil {
			b.Fatal(err)
		}
		b.SetBytes(int64(len(text)))
	}
}

func BenchmarkClone(b *testing.B) {
	c := usualEnsemble(b)
	b.ReportAllocs()
	for b.Loop() {
		c.Clone()
	}
}

// heardEnsemble is a batch that was measured fresh and after five hours, two runs each.
func heardEnsemble(t testing.TB) *Ensemble {
	t.Helper()
	c := usualEnsemble(t)
	step := Step{Duration: 5 * time.Hour, From: air.State{TemperatureC: 22, HumidityPct: 50}, To: air.State{TemperatureC: 22, HumidityPct: 50}, Kind: Measured}
	of := viscosity.Sample{LnRuns: []float64{4.7, 4.71}, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 22}
	if err := c.Hear(1, viscosity.Assumed(), of); err != nil {
		t.Fatal(err)
	}
	c.Advance(bench, step)
	of.LnRuns = []float64{5.3, 5.31}
	if err := c.Hear(2, viscosity.Assumed(), of); err != nil {
		t.Fatal(err)
	}
	return c
}

// A flow time at the bench. Budget: 2 ms on a desktop core for a batch that has one already, single runs or
// two that agree.
func BenchmarkHear(b *testing.B) {
	for name, runs := range map[string][]float64{"confirmed": {5.2, 5.21}, "single": {5.2}} {
		b.Run(name, func(b *testing.B) {
			start := heardEnsemble(b)
			start.Unhear(2)
			b.ReportAllocs()
			for b.Loop() {
				c := start.Clone()
				if err := c.Hear(3, viscosity.Assumed(), viscosity.Sample{LnRuns: runs, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 22}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A sample of an instrument that follows a batch, which has two already. Budget: 2 ms on a desktop core.
func BenchmarkFollow(b *testing.B) {
	curve := viscosity.AssumedTrend()
	curve.Ends = viscosity.LeastEnds
	start := usualEnsemble(b)
	of := func(ln float64) viscosity.Sample {
		return viscosity.Sample{LnRuns: []float64{ln}, RunSpread: viscosity.LeastNoiseOfTrend, Drift: viscosity.DriftOfTrend, TemperatureC: 22}
	}
	step := Step{Duration: 2 * time.Hour, From: air.State{TemperatureC: 22, HumidityPct: 50}, To: air.State{TemperatureC: 22, HumidityPct: 50}, Kind: Measured}
	for k, ln := range []float64{0, 0.2} {
		if err := start.Follow(uint64(k+1), curve, of(ln), TrendContinues); err != nil {
			b.Fatal(err)
		}
		start.Advance(bench, step)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := start.Clone().Follow(3, curve, of(0.4), TrendContinues); err != nil {
			b.Fatal(err)
		}
	}
}
