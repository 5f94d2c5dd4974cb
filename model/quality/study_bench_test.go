package quality

import (
	"context"
	"math/rand/v2"
	"testing"
)

// yearOfOneBench has 1,500 batches, about 4 million prints and 20,000 defects of eight kinds.
func yearOfOneBench() Data {
	s := simulated{days: 250, batchesADay: 6, cells: 20, prints: 133, day: 0.3, batch: 0.3, cell: 0.2,
		rates:   []float64{0.0012, 0.0008, 0.0006, 0.0005, 0.0004, 0.0003, 0.0002, 0.0001},
		effects: []float64{0.12, 0, 0, 0, 0, 0, 0, 0}}
	return s.draw(rand.New(rand.NewPCG(1, 1)))
}

// A year of one bench may take 20 s on a Pi 4.
func BenchmarkStudyOfAYear(b *testing.B) {
	d := yearOfOneBench()
	b.ReportAllocs()
	for b.Loop() {
		s, err := Analyse(context.Background(), d, Options{Relevant: UsualRelevant, Weeks: 52})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(s.Prints, "prints")
		b.ReportMetric(s.Defects, "defects")
	}
}
