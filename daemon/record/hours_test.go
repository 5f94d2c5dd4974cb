package record

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/lifecycle"
)

// The hours of a zone are those that were measured, a fortnight of them, and come
// back from a checkpoint as they were.
func TestHoursAreMeasuredAndBounded(t *testing.T) {
	s := NewState("journal")
	at := noon
	warm := air.State{TemperatureC: 24, HumidityPct: 55}
	step := func(kind cure.StepKind, d time.Duration, read bool) {
		e := AirStep{Zone: "bench", Start: at, Step: cure.Step{Duration: d, From: warm, To: warm, Kind: kind}, After: warm}
		at = at.Add(d)
		if read {
			e.ReadAt = at
		}
		s = Apply(s, Record{Stamp: Stamp{At: at}, Body: e})
	}
	hours := func() int { return s.Zones["bench"].Hours.Hours() }
	step(cure.Measured, 0, false)
	step(cure.Measured, 3*time.Hour, false)
	if hours() != 0 {
		t.Fatalf("%d hours of air that nobody measured", hours())
	}
	step(cure.Measured, 3*time.Hour, true)
	if hours() != 4 { // 15, 16, 17 and 18 h
		t.Fatalf("%d hours, want 4", hours())
	}
	step(cure.Bridged, 2*time.Hour, true)
	step(cure.Stale, 2*time.Hour, true)
	if hours() != 4 {
		t.Fatalf("%d hours: what was guessed is not a record", hours())
	}
	for range 30 * 24 * 4 {
		step(cure.Measured, 15*time.Minute, true)
	}
	if most := (air.HistoryDays + 1) * 24; hours() != most {
		t.Fatalf("%d hours are kept, want %d", hours(), most)
	}
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	var back State
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(s.Zones["bench"].Hours, back.Zones["bench"].Hours); diff != "" {
		t.Errorf("from a checkpoint: %s", diff)
	}
	end := s.Zones["bench"].Hours.End()
	moved := Apply(s, Record{Stamp: Stamp{At: at}, Body: ClockChanged{Step: 48 * time.Hour, Synced: true}})
	if got := moved.Zones["bench"].Hours.End(); got != end+48 || s.Zones["bench"].Hours.End() != end {
		t.Errorf("the clock was put on by two days: hours end at %d, before at %d", got, end)
	}
}

// One minute of air with many open batches: a linear cost, since every batch lives
// through every step. Budget on a desktop core: 15 µs a batch.
func BenchmarkApplyMinute(b *testing.B) {
	for _, n := range []int{1, 10, 100, 1000} {
		b.Run(fmt.Sprintf("batches=%d", n), func(b *testing.B) {
			s := NewState("journal")
			mild := air.State{TemperatureC: 21, HumidityPct: 50}
			ink, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
			if err != nil {
				b.Fatal(err)
			}
			ensemble := cure.New(ink, cure.Sensor{}, 0.02, mild)
			place := cure.Place{Exposure: 1, Lag: 25 * time.Minute}
			for i := range n {
				id := fmt.Sprint(i)
				s.Batches[id] = &Batch{ID: id, Zone: "bench", Phase: lifecycle.Open, Ensemble: ensemble.Clone(), Basis: Basis{Life: ink, Place: place}}
			}
			at := noon
			step := cure.Step{Duration: time.Minute, From: mild, To: mild, Kind: cure.Measured}
			b.ReportAllocs()
			for b.Loop() {
				at = at.Add(time.Minute)
				s = Apply(s, Record{Stamp: Stamp{At: at}, Body: AirStep{Zone: "bench", Start: at.Add(-time.Minute), Step: step, After: mild, ReadAt: at}})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/batch")
		})
	}
}
