package cure

import (
	"testing"
	"time"

	"potlifed/model/air"
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
// batches then cost 2 ms a minute.
func BenchmarkAdvanceMinute(b *testing.B) {
	for name, age := range map[string]time.Duration{"young": 0, "old": 5 * time.Hour} {
		b.Run(name, func(b *testing.B) {
			start := usualEnsemble(b)
			step := Step{Duration: time.Minute, From: air.State{TemperatureC: 23, HumidityPct: 50}, To: air.State{TemperatureC: 23.1, HumidityPct: 50.4}, Kind: Measured}
			for range int(age / time.Minute) {
				start.Advance(bench, step)
			}
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
