package bench

import (
	"path/filepath"
	"testing"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/journal/journaltest"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// oldShop is the shop of the old journal, after its spare sensor was taken away.
const oldShop = `
bench: bench-3
data_dir: /nowhere
scales:
  - {id: scale-a, port: "tcp://127.0.0.1:1", division_g: 0.05, zone: print-room}
sensors:
  - {id: wall, zone: print-room, path: /nowhere, every: 5s}
  - {id: store-wall, zone: store, path: /nowhere/else, every: 5s, check_every: 200d, checked: 2026-01-20}
presses:
  - {id: press-a, zone: print-room, cup: cup-70}
  - {id: press-b, zone: store, cup: cup-70}
cups:
  - {id: cup-70, ink_minimum_g: 35, fill_maximum_g: 75}
lights:
  - {id: light-a, presses: [press-a, press-b]}
hardeners:
  - {id: hardener-q, use_within_opened: 60d}
thinners:
  - {id: thinner-q, vapour_pressure_pa: 420, molar_mass_g: 100.2}
inks:
  - id: crimson-5
    hardener: hardener-q
    thinners: [thinner-q]
    hardener_ratio: "5:1"
    pot_life: {shortest: 5h, longest: 9h}
    thinner_pct: {min: 7, dark: 9, light: 12, max: 18}
    rest: 2m
`

// TestTheBenchGoesOnWithAnOldJournal opens the journal that the tests of the journal
// describe, works with it, and reads it again from the checkpoint and from the beginning.
func TestTheBenchGoesOnWithAnOldJournal(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	dir := t.TempDir()
	journaltest.Unpack(t, "../journal/testdata/old/journal.sqlite.gz", filepath.Join(dir, journal.FileName))

	// Power comes back five minutes after the last record.
	last := time.Date(2026, 3, 9, 8, 11, 0, 0, time.UTC)
	c := &handClock{speed: 1}
	c.is.Wall, c.is.Boot, c.is.Mono, c.is.Synced = last, "a later boot", 30*time.Second, true
	s := openShopOf(t, dir, c, oldShop)
	if at := s.b.state.Last.At; at.After(last) || last.Sub(at) > 10*time.Minute {
		t.Fatalf("the journal's last record is of %v, and the test goes on at %v", at, last)
	}
	seq := s.b.state.Seq
	room, store := &air.State{TemperatureC: 22.4, HumidityPct: 58.8}, &air.State{TemperatureC: 18.3, HumidityPct: 60.9}
	rooms := rooms{"wall": room, "store-wall": store}
	s.pass(time.Minute, rooms)
	var loaded, mixing string
	for id, b := range s.b.state.Batches {
		switch {
		case b.Phase == lifecycle.Mixing:
			mixing = id
		case b.Press == "press-a":
			loaded = id
		}
	}
	if v := s.batch(loaded); v.AgeS == nil || *v.AgeS < 300 || v.RemainingS == nil {
		t.Fatalf("the batch on press-a is %+v", v)
	}
	s.must(request.GoodBatch{Batch: loaded})
	s.must(request.AbandonMix{Batch: mixing})
	s.must(request.UnloadBatch{Batch: loaded})
	s.must(request.CloseBatch{Batch: loaded, Outcome: "used-up", StillGood: "yes"})
	added := s.must(request.RecordMix{Ink: "crimson-5", MixedAt: s.b.clock.now(), Zone: "print-room",
		Components: []mix.Component{{Part: mix.Ink, G: 36}, {Part: mix.Hardener, G: 7.2}}})
	s.must(request.LoadBatch{Batch: added.ID, Press: "press-a"})
	s.pass(checkpointEvery+time.Minute, rooms) // past the next checkpoint
	if s.b.state.Seq < seq+6 {
		t.Fatalf("seq went from %d to %d only", seq, s.b.state.Seq)
	}
	live := s.b.write.durable
	s.crash()
	if got, want := loadState(t, dir), jsonOf(t, live); got != want {
		t.Errorf("from the checkpoint:\n%s\nwant\n%s", got, want)
	}
	forgetCheckpoints(t, dir)
	sameState(t, dir, live)
}

// sameState compares what a journal without checkpoints gives with the live state. Figures
// of batches that another processor began may differ in their last bits.
func sameState(t *testing.T, dir string, live record.State) {
	t.Helper()
	s := stateOfJournal(t, dir)
	if s.Seq != live.Seq || len(s.Batches) != len(live.Batches) || len(s.Closed) != len(live.Closed) || len(s.Alarms) != len(live.Alarms) {
		t.Fatalf("from the beginning: seq %d, %d batches, %d closed, %d alarms; live: seq %d, %d batches, %d closed, %d alarms",
			s.Seq, len(s.Batches), len(s.Closed), len(s.Alarms), live.Seq, len(live.Batches), len(live.Closed), len(live.Alarms))
	}
	for id, b := range live.Batches {
		g := s.Batches[id]
		if g == nil || g.Phase != b.Phase || g.Press != b.Press || (g.Ensemble == nil) != (b.Ensemble == nil) {
			t.Errorf("from the beginning batch %s is %+v, live %+v", id, g, b)
			continue
		}
		if b.Ensemble != nil && !(g.Ensemble.Age() == b.Ensemble.Age() && within(g.Ensemble.Spent(), b.Ensemble.Spent()) && within(g.Ensemble.Risk(), b.Ensemble.Risk())) {
			t.Errorf("from the beginning batch %s has spent %v at a risk of %v, live %v at %v", id, g.Ensemble.Spent(), g.Ensemble.Risk(), b.Ensemble.Spent(), b.Ensemble.Risk())
		}
	}
}

func within(a, b float64) bool { return a-b <= 1e-9 && b-a <= 1e-9 }
