package bench

import (
	"database/sql"
	"encoding/json"
	"log/slog"
	"math"
	"path/filepath"
	"testing"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
)

// rate is what an ink of 6 to 8 hours spends an hour at 20 °C: A + B e, with A and B
// from its two ends at 30 and 80 % and e = RH/100 · 2338.804 Pa (Hyland and Wexler
// 1983). Written out here so that the bench is not checked against itself.
func handRate(humidityPct float64) float64 {
	const saturation = 2338.804
	const b = (1.0/6 - 1.0/8) / (0.50 * saturation)
	const a = 1.0/8 - b*0.30*saturation
	return a + b*humidityPct/100*saturation
}

func TestSpentLifeIsTheIntegralOfTheAir(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	mixed := s.b.state.Batches[id].MixedAt
	s.pass(10*time.Minute, both(mild))
	if got := s.spent(id); math.Abs(got-handRate(50)*s.b.clock.now().Sub(mixed).Hours()) > 1e-9 {
		t.Errorf("spent %v in steady air, by hand %v", got, handRate(50)*s.b.clock.now().Sub(mixed).Hours())
	}
	before := s.batch(id)
	last := s.b.sensors["bench-air"].last
	for s.b.sensors["bench-air"].last.Equal(last) { // the next reading finds humid air
		s.pass(time.Second, both(humid))
	}
	turned := s.b.sensors["bench-air"].last
	s.pass(5*time.Minute, both(humid))
	now := s.b.clock.now()
	want := handRate(50)*last.Sub(mixed).Hours() +
		(handRate(50)+handRate(80))/2*turned.Sub(last).Hours() +
		handRate(80)*now.Sub(turned).Hours()
	got := s.batch(id)
	if math.Abs(s.spent(id)-want) > 1e-9 {
		t.Errorf("spent %.9f, by hand %.9f", s.spent(id), want)
	}
	if !got.EndsAt.Expected.Before(before.EndsAt.Expected.Add(-30 * time.Minute)) {
		t.Errorf("expected end %v after the air turned humid, %v before: want much earlier", got.EndsAt.Expected, before.EndsAt.Expected)
	}
}

func TestClockStartsAtTheFirstHardener(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin"}).ID
	s.weighs(12, time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 72, 6*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "ink"})
	s.pass(time.Minute, both(mild))
	s.weighs(72, time.Second)
	if v := s.batch(id); v.MixedAt != nil || v.Spent != nil || v.RemainingS != nil {
		t.Fatalf("before the first hardener: mixed_at %v, spent %v", v.MixedAt, v.Spent)
	}
	began := s.b.clock.now()
	s.pours(72, 87, 3*time.Second)
	v := s.batch(id)
	if v.MixedAt == nil {
		t.Fatal("the pour is over and the clock has not started; it must not wait for the confirm")
	}
	// 5 g a second: more than half a gram is up after the second line.
	if d := v.MixedAt.Sub(began); d <= 0 || d > 300*time.Millisecond {
		t.Errorf("mixed_at is %v after the pour began, want the second or third line of 100 ms each", d)
	}
}

func TestThinnerBeforeTheStirIsRefused(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin"}).ID
	s.weighs(12, time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 76, 6*time.Second) // 64 g where 60 were meant
	v := s.must(request.ConfirmStep{Batch: id, Step: "ink"})
	if math.Abs(v.TargetsG.Hardener-16) > 1e-9 {
		t.Errorf("hardener target %v g for 64 g of ink at 4:1, want 16", v.TargetsG.Hardener)
	}
	s.pours(76, 92, 3*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
	seq := s.b.state.Seq
	_, refusal := s.ask(request.ConfirmStep{Batch: id, Step: "thinner"})
	if refusal == nil || refusal.Kind != request.NotNow {
		t.Fatalf("thinner before the stir: %v, want it refused as not now", refusal)
	}
	if s.b.state.Seq != seq || s.batch(id).Step == nil || *s.batch(id).Step != "stir-hardener" {
		t.Errorf("the refusal changed something: seq %d to %d, step %v", seq, s.b.state.Seq, *s.batch(id).Step)
	}
}

func TestUnsettledWeightIsNotConfirmed(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin"}).ID
	s.weighs(12, 100*time.Millisecond)
	if _, refusal := s.ask(request.ConfirmStep{Batch: id, Step: "cup"}); refusal == nil || refusal.Kind != request.NotNow {
		t.Errorf("one moving line: %v, want it refused as not now", refusal)
	}
	s.weighs(12, time.Second)
	s.pass(20*time.Second, both(mild)) // the scale has fallen silent
	if _, refusal := s.ask(request.ConfirmStep{Batch: id, Step: "cup"}); refusal == nil || refusal.Kind != request.NotNow {
		t.Errorf("a silent scale: %v, want it refused as not now", refusal)
	}
}

func TestRestartGoesOnToTheBit(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(20*time.Minute, both(humid))
	spent := s.spent(id)
	s.crash()

	c.turn(7 * time.Minute)
	s = openShop(t, dir, c)
	if now := s.spent(id); now < spent-handRate(80)*time.Minute.Hours()*1.01 {
		t.Errorf("spent %v after the restart, %v before: more than the open minute was lost", now, spent)
	}
	s.pass(time.Minute, both(humid))
	v := s.batch(id)
	want := spent + handRate(80)*(8*time.Minute).Hours()
	if math.Abs(s.spent(id)-want) > 1e-6 {
		t.Errorf("spent %v after a gap of 7 min in air that stayed as it was, by hand %v", s.spent(id), want)
	}
	if v.Press == nil || *v.Press != "press-1" {
		t.Errorf("after the restart the batch is on press %v", v.Press)
	}
	s.crash()
}

// TestReplayEqualsLive reads the whole journal back, without its checkpoints and with
// them.
func TestReplayEqualsLive(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(checkpointEvery+time.Minute, both(humid)) // a checkpoint is taken on the way
	s.must(request.GoodBatch{Batch: id})
	s.must(request.StartMix{Ink: "dial-flat"})
	live := jsonOf(t, s.b.write.durable)
	s.crash()
	for _, with := range []string{"with checkpoints", "without checkpoints"} {
		if with == "without checkpoints" {
			forgetCheckpoints(t, dir)
		}
		if got := loadState(t, dir); got != live {
			t.Errorf("%s the journal gives another state than was live:\n%s\n%s", with, got, live)
		}
	}
}

func loadState(t *testing.T, dir string) string {
	t.Helper()
	return jsonOf(t, stateOfJournal(t, dir))
}

func stateOfJournal(t *testing.T, dir string) record.State {
	t.Helper()
	j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	state, err := j.Load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return state
}

func forgetCheckpoints(t *testing.T, dir string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, journal.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r, err := db.Exec("DELETE FROM checkpoint")
	if err != nil {
		t.Fatal(err)
	}
	if n, err := r.RowsAffected(); err != nil || n == 0 {
		t.Fatalf("%d checkpoints deleted (%v), want some: the test would show nothing", n, err)
	}
}

func jsonOf(t testing.TB, s record.State) string {
	t.Helper()
	b, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestSilentSensorWidensAndWarns(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(time.Minute, both(mild))
	if l := s.light("light-1"); l.Meaning != "in-order" || l.Colour != "green" {
		t.Fatalf("a fresh batch shows %s, %s (%s)", l.Meaning, l.Colour, l.Reason)
	}
	s.pass(30*time.Second, rooms{"hall-air": mild})
	if v := s.batch(id); v.Quality != view.QualityUncertain {
		t.Errorf("30 s without a reading: quality %s, want uncertain", v.Quality)
	}
	if l := s.light("light-1"); l.Meaning != "soon" {
		t.Errorf("uncertain air: light %s, want soon", l.Meaning)
	}
	s.pass(6*time.Minute, rooms{"hall-air": mild})
	v := s.batch(id)
	if v.Quality != view.QualityBad || v.Why == "" {
		t.Errorf("past stale_after: quality %s (%s), want bad with a reason", v.Quality, v.Why)
	}
	if l := s.light("light-1"); l.Meaning != "unknown" || !l.Flashing {
		t.Errorf("no air past stale_after: light %s, flashing %v", l.Meaning, l.Flashing)
	}
	if _, ok := s.alarm("sensor-stale", "bench-air"); !ok {
		t.Error("no alarm sensor-stale for bench-air")
	}
	known := openShop(t, t.TempDir(), newClock())
	known.pass(20*time.Second, both(mild))
	twin := known.mixes()
	known.pass(7*time.Minute+30*time.Second, both(mild))
	width := func(v view.Batch) time.Duration { return v.EndsAt.High.Sub(v.EndsAt.Low) }
	if seen, unseen := width(known.batch(twin)), width(v); unseen <= seen {
		t.Errorf("the band is %v wide with readings and %v without: want it wider", seen, unseen)
	}
	spent := s.spent(id)
	s.pass(10*time.Minute, both(mild))
	s.overOnceSeen("sensor-stale", "bench-air")
	if v := s.batch(id); s.spent(id) <= spent || v.Quality == view.QualityBad {
		t.Errorf("the sensor is back: spent %v after %v, quality %s", s.spent(id), spent, v.Quality)
	}
}

func TestHumidityBeyondPhysicsIsNeverAValue(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	s.enter(airReading{sensor: "bench-air", air: air.State{TemperatureC: 20, HumidityPct: 130}, at: s.clock.is.Mono + 1})
	for _, a := range s.b.Snapshot().Air {
		if a.HumidityPct != nil && *a.HumidityPct > 100 {
			t.Errorf("zone %s shows %v %%", a.Zone, *a.HumidityPct)
		}
	}
	if n := s.b.sensors["bench-air"].rejected; n != 1 {
		t.Errorf("%d readings counted as rejected, want 1", n)
	}
}
