package outcomes

import (
	"context"
	"math"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

// past is a journal in memory.
type past struct {
	records []record.Record
	seq     uint64
	at      time.Time
	state   record.State
}

func (p *past) Each(_ context.Context, each func(record.Record) error) error {
	for _, r := range p.records {
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

func (p *past) add(b record.Body) {
	r := record.Record{Stamp: record.Stamp{At: p.at, Boot: "b", Synced: true}, By: "tester", Body: b}
	if r.IsEvent() {
		p.seq++
		r.Seq = p.seq
	}
	p.records = append(p.records, r)
	p.state = record.Apply(p.state, r)
}

// air lets time go by in air that moves from one state to another.
func (p *past) air(zone string, d time.Duration, from, to air.State) {
	start := p.at
	p.at = p.at.Add(d)
	p.add(record.AirStep{Zone: zone, Start: start, Step: cure.Step{Duration: d, Kind: cure.Measured, From: from, To: to}, After: to, ReadAt: p.at})
}

func ink(t *testing.T) cure.Ink {
	t.Helper()
	k, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func recorded(t *testing.T, p *past, id string) {
	t.Helper()
	r := guide.Recipe{Ratio: 5, TolerancePct: 5, InkTargetG: 85, ThinnerPct: 7, ThinnerMinPct: 6, ThinnerMaxPct: 14, DivisionG: 1}
	m, err := guide.Recorded(r, mix.Amounts{InkG: 85, HardenerG: 17, ThinnerG: 7.1}, p.at, p.at)
	if err != nil {
		t.Fatal(err)
	}
	p.add(record.Recorded{
		Batch: id, Day: "20260612", Ink: "dial-satin", Zone: "bench", Cup: "cup-110", MixedAt: p.at, Mix: m,
		Basis: record.Basis{Life: ink(t), Place: cure.Place{Exposure: 1, Lag: 25 * time.Minute}, WeighingU: 0.02},
	})
}

// TestWhatABatchLivedThroughIsItsDose: the journey read out of the journal gives the
// dose that the batch's own ensemble had when it was closed.
func TestWhatABatchLivedThroughIsItsDose(t *testing.T) {
	mild, warm := air.State{TemperatureC: 20, HumidityPct: 50}, air.State{TemperatureC: 27, HumidityPct: 75}
	p := &past{at: noon, state: record.NewState("")}
	p.add(record.Started{GapKnown: true})
	p.add(record.AirStep{Zone: "bench", Start: noon, Step: cure.Step{Kind: cure.Measured}, After: mild, ReadAt: noon})
	p.add(record.AirStep{Zone: "hall", Start: noon, Step: cure.Step{Kind: cure.Measured}, After: warm, ReadAt: noon})
	recorded(t, p, "0612-1")
	p.air("bench", time.Hour, mild, warm)
	p.at = noon
	p.air("hall", time.Hour, warm, warm)
	goodDose := p.state.Batches["0612-1"].Ensemble.Spent()
	p.add(record.Good{Batch: "0612-1"})
	p.add(record.Loaded{Batch: "0612-1", Press: "press-1", Zone: "hall", Place: cure.Place{Exposure: 1, Lag: 10 * time.Minute}})
	p.air("hall", 90*time.Minute, warm, mild)
	p.add(record.Split{Batch: "0612-1b", From: "0612-1", G: 20, Zone: "hall", Place: cure.Place{Exposure: 0.5}})
	p.air("hall", 30*time.Minute, mild, mild)
	p.add(record.Closed{Batch: "0612-1", Ink: "dial-satin", Outcome: "went-off", StillGood: "no", Seen: "now"})
	p.add(record.Closed{Batch: "0612-1b", Ink: "dial-satin", Outcome: "used-up", StillGood: "yes", Seen: "earlier"})

	read, err := Read(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	got := read.Batches
	if len(got) != 2 || got[0].ID != "0612-1" || got[1].Family != "0612-1" || got[0].WeighingU != 0.02 {
		t.Fatalf("closed batches: %+v", got)
	}
	// The part was never on a press; both were closed by the same person, on the day of the mix.
	for i, press := range []string{"press-1", ""} {
		if f := got[i].Facts; f.Press != press || f.ClosedBy != "tester" || f.Weekday != Weekday(noon) {
			t.Errorf("batch %s: %+v", got[i].ID, f)
		}
	}
	for i, b := range got {
		want := p.state.Closed[i].Spent
		if d := b.AtClose.Dose(ink(t)); math.Abs(d-want) > 1e-4*want {
			t.Errorf("batch %s: its journey gives a dose of %v, its ensemble had %v", b.ID, d, want)
		}
	}
	if d := got[0].AtGood.Dose(ink(t)); math.Abs(d-goodDose) > 1e-4*goodDose {
		t.Errorf("when it was last good the dose was %v, its ensemble had %v", d, goodDose)
	}
	if h := got[0].AtClose.Hours(); math.Abs(h-3) > 1e-9 {
		t.Errorf("its age was %v h, want 3", h)
	}
}

// TestLearningFromTheJournal: thirty batches that end a fifth earlier than the data
// sheet says are learned as such; what nobody looked at is left out.
func TestLearningFromTheJournal(t *testing.T) {
	mild := air.State{TemperatureC: 20, HumidityPct: 50}
	p := &past{at: noon, state: record.NewState("")}
	p.add(record.Started{GapKnown: true})
	p.add(record.AirStep{Zone: "bench", Start: noon, Step: cure.Step{Kind: cure.Measured}, After: mild, ReadAt: noon})
	sheet := ink(t)
	life := time.Duration(0.8 * sheet.LRefH * float64(time.Hour))
	for i := range 32 {
		id := "0612-" + string(rune('A'+i))
		recorded(t, p, id)
		// Around the life, evenly: 0.85 to 1.15 of it.
		p.air("bench", time.Duration(float64(life)*(0.85+0.3*float64(i%31)/30)), mild, mild)
		e := record.Closed{Batch: id, Ink: "dial-satin", Outcome: "went-off", StillGood: "no", Seen: "now"}
		if i == 31 {
			e.Outcome, e.StillGood = "discarded", "unknown"
		}
		p.add(e)
	}
	past, err := Read(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	told, _ := Sort(past, []Ink{{ID: "dial-satin", Sheet: sheet}})
	all := Learn(told)
	r := all[0]
	if r.Ends != 31 || len(r.LeftOut) != 1 || r.Fault != "" {
		t.Fatalf("%d ends, left out %v, fault %q", r.Ends, r.LeftOut, r.Fault)
	}
	if math.Abs(r.LifeRatio.Value-0.8) > 0.03 || !r.LifeRatio.Learned {
		t.Errorf("life ratio %+v, want 0.8", r.LifeRatio)
	}
	if a, err := r.Accept(r.Tests); err != nil || a.Life == sheet {
		t.Errorf("accepted %+v, %v", a, err)
	}
}
