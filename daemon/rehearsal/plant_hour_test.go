package rehearsal

import (
	"testing"
	"time"
)

// BenchmarkTypicalBench counts what a typical bench sends in an hour: one scale, two
// sensors, three presses, of whose lights one reads all three forms. The steady part is
// counted over ten benches for three minutes; what a guided mix adds, poured at natural
// speed, over eight benches that mix again and again for six; and three presses that use a
// mix up in five hours make 0.6 of them an hour. Run it with -benchtime 1x: it takes ten
// minutes, most of which it waits.
//
// Budget: a thousand benches stay under ten thousand messages a second, so 36000 messages
// an hour of each.
func BenchmarkTypicalBench(b *testing.B) {
	const mixesPerHour = 0.6
	for b.Loop() {
		o := PlantOptions{Benches: 10, Broker: newMosquitto(b), Prefix: "potlife", For: 3 * time.Minute, MixEvery: 1000 * time.Hour, Seed: 1}
		steady, err := RunPlant(b.Context(), o)
		if err != nil {
			b.Fatal(err)
		}
		o.Benches, o.For, o.MixEvery = 8, 6*time.Minute, 20*time.Second
		mixing, err := RunPlant(b.Context(), o)
		if err != nil {
			b.Fatal(err)
		}
		if mixing.Mixes == 0 {
			b.Fatal("nothing was mixed")
		}
		for _, r := range []PlantReport{steady, mixing} {
			if err := r.Write(b.Output()); err != nil {
				b.Fatal(err)
			}
		}
		perHour := func(of func(Traffic) uint64) (steadily, perMix float64) {
			rate := func(r PlantReport) float64 { return float64(of(r.Total())) / r.Took.Hours() }
			steadily = rate(steady) / float64(steady.Benches)
			made := float64(mixing.Mixes) / mixing.Took.Hours()
			return steadily, (rate(mixing) - steadily*float64(mixing.Benches)) / made
		}
		for unit, of := range map[string]func(Traffic) uint64{
			"msgs": func(t Traffic) uint64 { return t.Messages }, "B": func(t Traffic) uint64 { return t.Bytes },
		} {
			steadily, perMix := perHour(of)
			b.ReportMetric(steadily, unit+"/h-steady")
			b.ReportMetric(perMix, unit+"/mix")
			b.ReportMetric(steadily+mixesPerHour*perMix, unit+"/h")
		}
		b.ReportMetric(100*steady.CPUShare, "%cpu/bench")
		b.ReportMetric(steady.MemoryBytes/1e6, "MB/bench")
	}
	b.ReportMetric(0, "ns/op")
}
