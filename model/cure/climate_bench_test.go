package cure_test

import (
	"fmt"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// A year of hourly air, every member in every hour. Budget: 150 ms on a desktop core.
func BenchmarkYearOfHourlyClimate(b *testing.B) {
	s := situation{sheet: sheets[0], sensor: sensors[0], place: places[0]}
	var err error
	if s.ink, err = s.sheet.Calibrate(); err != nil {
		b.Fatal(err)
	}
	for _, m := range madeUpClimates {
		b.Run(m.name, func(b *testing.B) {
			c := readClimate(b, m.file())
			for b.Loop() {
				ensemble := cure.New(s.ink, s.sensor, 0.02, c.hours[0])
				for k := range len(c.hours) - 1 {
					ensemble.Advance(s.place, cure.Step{Duration: time.Hour, From: c.hours[k], To: c.hours[k+1], Kind: cure.Measured})
				}
			}
		})
	}
}

// A minute of many open batches, fresh to old: the cost stays linear. Budget: 10 µs a batch on a
// desktop core.
func BenchmarkOpenBatches(b *testing.B) {
	mild := air.State{TemperatureC: 21, HumidityPct: 48}
	ink, err := sheets[0].Calibrate()
	if err != nil {
		b.Fatal(err)
	}
	for _, n := range []int{1, 10, 100, 1000} {
		b.Run(fmt.Sprintf("batches=%d", n), func(b *testing.B) {
			ensembles := make([]*cure.Ensemble, n)
			for i := range ensembles {
				ensembles[i] = cure.New(ink, sensors[0], 0.02, mild)
				ensembles[i].Advance(places[0], cure.Step{Duration: time.Duration(i%480) * time.Minute, From: mild, To: mild, Kind: cure.Measured})
			}
			next := air.State{TemperatureC: 21.02, HumidityPct: 48.1}
			b.ReportAllocs()
			for b.Loop() {
				for _, c := range ensembles {
					c.Advance(places[0], cure.Step{Duration: time.Minute, From: mild, To: next, Kind: cure.Measured})
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/batch")
		})
	}
}

// A forecast along what the zone's own record says. Budget: 1 ms on a desktop core, the habit itself known.
func BenchmarkForecastAlong(b *testing.B) {
	c := madeUpClimates[0].generate()
	sh := newShop(situation{ink: mustCalibrate(b), sensor: sensors[0], place: places[0]}, truth{}, c, c.start.Add(200*24*time.Hour), 15*24*time.Hour)
	habit, ok := sh.history(sh.now).Habit()
	if !ok {
		b.Fatal("no habit")
	}
	b.ReportAllocs()
	for b.Loop() {
		sh.ensemble.Forecast(sh.place, sh.read, 0, cure.Along(habit.Ahead(sh.read, sh.now)))
	}
}

func mustCalibrate(t testing.TB) cure.Ink {
	ink, err := sheets[0].Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	return ink
}
