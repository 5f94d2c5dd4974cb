package study

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"potlifed/model/quality"
)

// yearFiles writes a year of one bench as minutes, as prints are recorded: 1,500 batches, some 4
// million prints and 20,000 rejects.
func yearFiles() (prints, defects []byte) {
	random := rand.New(rand.NewPCG(4, 4))
	var p, d bytes.Buffer
	p.WriteString("time,press,batch,prints,spent,temperature_c,humidity_pct,thinner_pct,ratio_off_pct\n")
	d.WriteString("time,press,batch,kind,defects\n")
	for day := range 250 {
		humid, shift := 8*random.NormFloat64(), 0.3*random.NormFloat64()
		for batch := range 6 {
			id, press := fmt.Sprintf("%d-%d", day, batch), fmt.Sprintf("press-%d", 1+batch%3)
			for minute := range 267 {
				at := start.AddDate(0, 0, day).Add(time.Duration(minute+270*(batch/3)) * time.Minute).Format(time.RFC3339)
				n, humidity := 8+random.IntN(5), max(15, min(90, 50+humid+2*random.NormFloat64()))
				fmt.Fprintf(&p, "%s,%s,%s,%d,%.4f,22.1,%.1f,12,1.5\n", at, press, id, n, float64(minute)/300, humidity)
				if random.Float64() < float64(n)*0.005*math.Exp(0.02*(humidity-50)+shift) {
					fmt.Fprintf(&d, "%s,%s,%s,%s,1\n", at, press, id, []string{"pinholes", "dust", "stringing", "ghost"}[random.IntN(4)])
				}
			}
		}
	}
	return p.Bytes(), d.Bytes()
}

// Reading a year of minutes from CSV and studying it may take 30 s and 200 MB on a Pi 4.
func BenchmarkStudyOfAYearOfFiles(b *testing.B) {
	prints, defects := yearFiles()
	b.ReportAllocs()
	b.SetBytes(int64(len(prints) + len(defects)))
	for b.Loop() {
		t := NewTable(Filter{})
		for name, text := range map[string][]byte{"prints.csv": prints, "defects.csv": defects} {
			if err := t.Read(name, bytes.NewReader(text)); err != nil {
				b.Fatal(err)
			}
		}
		a, err := Make(context.Background(), t, quality.Options{Relevant: quality.UsualRelevant}, time.UTC)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(a.Prints, "prints")
		b.ReportMetric(a.Defects, "rejects")
		b.ReportMetric(float64(a.Batches), "batches")
	}
}
