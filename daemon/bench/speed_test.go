package bench

import (
	"fmt"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// busyShop has n open batches in one zone.
func busyShop(b *testing.B, n int) *shop {
	b.Helper()
	s := openShop(b, b.TempDir(), newClock())
	b.Cleanup(s.crash)
	s.pass(20*time.Second, both(mild))
	for i := range n {
		s.must(request.RecordMix{
			Ink: "dial-satin", MixedAt: s.b.clock.now().Add(-time.Duration(i) * time.Minute),
			Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}, {Part: "thinner", G: 7.5}},
		})
	}
	return s
}

// BenchmarkReading takes in one reading of the air, from the channel to the new
// snapshot. "still" stays inside the deadband; "moving" closes two steps for each
// reading and forecasts every batch again. Budget on a Pi 4, about five times slower
// than a desktop core: a reading of each sensor every five seconds.
func BenchmarkReading(b *testing.B) {
	for _, c := range []struct {
		name string
		by   float64
	}{{"still", 0}, {"moving", 1}} {
		for _, n := range []int{1, 20} {
			b.Run(fmt.Sprintf("%s/batches=%d", c.name, n), func(b *testing.B) {
				s := busyShop(b, n)
				b.ReportAllocs()
				i := 0
				for b.Loop() {
					i++
					s.clock.turn(time.Second)
					a := air.State{TemperatureC: 20, HumidityPct: 50 + c.by*float64(i%2)}
					airReading{sensor: "bench-air", air: a, at: s.clock.is.Mono}.enter(s.b, s.b.clock.now())
					s.b.publish(s.b.clock.now())
					if i%200 == 0 {
						b.StopTimer()
						s.settle()
						b.StartTimer()
					}
				}
			})
		}
	}
}

// BenchmarkTick is what the loop does twice a second whatever happens.
func BenchmarkTick(b *testing.B) {
	for _, n := range []int{1, 20} {
		b.Run(fmt.Sprintf("batches=%d", n), func(b *testing.B) {
			s := busyShop(b, n)
			b.ReportAllocs()
			for b.Loop() {
				s.clock.turn(500 * time.Millisecond)
				s.b.tick(s.b.clock.now())
				s.b.publish(s.b.clock.now())
				b.StopTimer()
				s.settle()
				b.StartTimer()
			}
		})
	}
}

// BenchmarkWeight takes in one line of a scale during a pour, ten of which come a
// second.
func BenchmarkWeight(b *testing.B) {
	s := busyShop(b, 20)
	id := s.must(request.StartMix{Ink: "dial-satin"}).ID
	s.weighs(12, time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		i++
		s.clock.turn(100 * time.Millisecond)
		r := weigh.Reading{Grams: 12 + float64(i%600)/10, HasWeight: true, Stability: weigh.Moving}
		weightReading{scale: "scale-1", reading: r, at: s.clock.is.Mono}.enter(s.b, s.b.clock.now())
		s.b.publish(s.b.clock.now())
	}
}

// BenchmarkRecipe answers what a mix would come to, with the pot life that it would have now, in
// its own and in the next smaller cup. The start form asks at each key. Budget: 20 ms on a Pi 4,
// about five times slower than a desktop core.
func BenchmarkRecipe(b *testing.B) {
	s := openShopOf(b, b.TempDir(), newClock(), twoCups)
	b.Cleanup(s.crash)
	s.pass(20*time.Second, both(mild))
	for b.Loop() {
		if r, err := s.b.Recipe(request.StartMix{Ink: "dial-satin", Press: "press-1"}); err != nil || r.Life == nil || r.SmallerCup == nil {
			b.Fatal(r, err)
		}
	}
}
