package outcomes

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// TestWhatWasTakenBackIsNoEnd: a close and a "good" that were taken back teach nothing,
// and the batch has lived through the seconds in between.
func TestWhatWasTakenBackIsNoEnd(t *testing.T) {
	mild := air.State{TemperatureC: 20, HumidityPct: 50}
	p := &past{at: noon, state: record.NewState("")}
	p.add(record.Started{GapKnown: true})
	p.add(record.AirStep{Zone: "bench", Start: noon, Step: cure.Step{Kind: cure.Measured}, After: mild, ReadAt: noon})
	recorded(t, p, "0612-1")
	p.air("bench", time.Hour, mild, mild)
	takenBack := func(b record.Body, of record.Kind) {
		p.add(b)
		seq := p.seq
		p.air("bench", 9*time.Second, mild, mild)
		p.add(record.Undone{Batch: "0612-1", Undoes: seq, Of: of, Batches: []string{"0612-1"}})
	}
	takenBack(record.Closed{Batch: "0612-1", Ink: "dial-satin", Outcome: "went-off", StillGood: "no", Seen: "now"}, record.KindClosed)
	takenBack(record.Good{Batch: "0612-1"}, record.KindGood)
	if got, err := Read(t.Context(), p); err != nil || len(got.Batches) != 0 {
		t.Fatalf("an end that was taken back: %+v, %v", got, err)
	}
	p.air("bench", time.Hour, mild, mild)
	p.add(record.Closed{Batch: "0612-1", Ink: "dial-satin", Outcome: "used-up", StillGood: "yes", Seen: "now"})
	past, err := Read(t.Context(), p)
	got := past.Batches
	if err != nil || len(got) != 1 || got[0].Outcome != "used-up" {
		t.Fatalf("%+v, %v", got, err)
	}
	if h, want := got[0].AtClose.Hours(), (2*time.Hour + 18*time.Second).Hours(); math.Abs(h-want) > 1e-6 {
		t.Errorf("it lived %v h, want %v", h, want)
	}
	if d, want := got[0].AtClose.Dose(ink(t)), p.state.Closed[0].Spent; math.Abs(d-want) > 1e-4*want {
		t.Errorf("its journey gives a dose of %v, its ensemble had %v", d, want)
	}
	if h := got[0].AtGood.Hours(); h != 0 {
		t.Errorf("a good that was taken back counts, after %v h", h)
	}
}
