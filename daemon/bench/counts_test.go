package bench

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
)

// rejects reports rejects that have to be taken, and returns the press.
func (s *shop) rejects(press, kind string, add int64) view.Press {
	s.t.Helper()
	return s.counts(request.CountDefects{Press: press, Kind: kind, Add: &add})
}

func (s *shop) counts(c request.Change) (v view.Press) {
	s.t.Helper()
	body, refusal := s.asks(c)
	if refusal != nil || json.Unmarshal(body, &v) != nil {
		s.t.Fatalf("%+v: %s (%v)", c, body, refusal)
	}
	return v
}

func defectOf(v view.Press, kind string) view.DefectCount {
	i := slices.IndexFunc(v.Defects, func(d view.DefectCount) bool { return d.Kind == kind })
	return v.Defects[i]
}

// minutes returns the events of counts, of a press and kind of defect, in the journal.
func (s *shop) minutes(press, defect string) (events []record.Tally) {
	s.t.Helper()
	err := s.journal.Each(s.ctx, func(r record.Record) error {
		var m record.Tally
		switch e := r.Body.(type) {
		case record.Printed:
			m = record.Tally{Press: e.Press, Batch: e.Batch, Add: int64(e.Add), Counter: e.Counter, Minute: e.Minute, Day: e.Day, Last: e.Last, Late: e.Late, Conditions: e.Conditions}
		case record.Defects:
			m = record.Tally{Press: e.Press, Defect: e.Defect, Batch: e.Batch, Add: e.Add, Counter: e.Counter, Minute: e.Minute, Day: e.Day, Last: e.Last, Late: e.Late, Conditions: e.Conditions}
		default:
			return nil
		}
		if m.By = r.By; m.Press == press && m.Defect == defect {
			events = append(events, m)
		}
		return nil
	})
	if err != nil {
		s.t.Fatal(err)
	}
	return events
}

// A press that reports each print, and a camera that reports rejects, write one event a minute.
func TestReportsOfAMinuteAreOneEvent(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.goes(40*time.Second, both(mild))
	one := uint64(1)
	for i := range 150 {
		v := s.counts(request.CountPrints{Press: "press-1", Add: &one})
		if *v.PrintsTotal != uint64(i+1) || v.PrintsToday != uint64(i+1) {
			t.Fatalf("print %d: total %d, today %d", i+1, *v.PrintsTotal, v.PrintsToday)
		}
		if i%10 == 0 {
			s.rejects("press-1", "pinholes", 2)
		}
		if got := s.b.write.durable.Prints["press-1"].Total; got != uint64(i+1) {
			t.Fatalf("print %d is answered, and %d are on disk", i+1, got)
		}
		s.goes(time.Second, both(mild))
	}
	s.goes(time.Minute, both(mild))
	for _, of := range []struct {
		defect string
		want   []int64
	}{{"", []int64{60, 60, 30}}, {"pinholes", []int64{12, 12, 6}}} {
		var got []int64
		for i, m := range s.minutes("press-1", of.defect) {
			got = append(got, m.Add)
			c := m.Conditions
			if m.Batch != id || m.By != "tester" || m.Day != "2026-06-12" || m.Late || !m.Minute.Equal(noon.Add(time.Duration(i+1)*time.Minute)) || m.Last.Sub(m.Minute) >= time.Minute {
				t.Errorf("%q, event %d: %+v", of.defect, i, m)
			}
			if c.Ink != "dial-satin" || c.Zone != "bench" || c.AirQuality != "good" || *c.TemperatureC != 20 || *c.HumidityPct != 50 || c.LifeQuality != "good" {
				t.Errorf("%q, event %d: conditions %+v", of.defect, i, c)
			}
			// 20 °C and 50 %: half of 17.3 g/m³, the saturation of published tables.
			if d := *c.VapourDensity; d < 8.6 || d > 8.7 {
				t.Errorf("%q, event %d: %v g/m³", of.defect, i, d)
			}
			if want := 10.0; *c.ThinnerPct != want || *c.RatioOffPct != 0 {
				t.Errorf("%q, event %d: thinner %v %%, ratio off by %v %%", of.defect, i, *c.ThinnerPct, *c.RatioOffPct)
			}
			if *c.Age < time.Duration(i)*time.Minute || *c.Spent <= 0 || *c.Spent > 0.05 {
				t.Errorf("%q, event %d: age %v, spent %v", of.defect, i, *c.Age, *c.Spent)
			}
		}
		if !slices.Equal(got, of.want) {
			t.Errorf("%q: minutes %v, want %v", of.defect, got, of.want)
		}
	}
	if b := s.batch(id); b.Prints != 150 || b.Defects["pinholes"] != 30 {
		t.Errorf("the batch: %d prints, %v", b.Prints, b.Defects)
	}
	if d := defectOf(s.press("press-1"), "pinholes"); d.Total != 30 || d.Today != 30 || d.Highest != 30 || d.Words != "Pinholes" {
		t.Errorf("the press: %+v", d)
	}
}

func (s *shop) press(id string) view.Press {
	i := slices.IndexFunc(s.b.Snapshot().Presses, func(p view.Press) bool { return p.ID == id })
	return s.b.Snapshot().Presses[i]
}

// A report that was answered is there after a pulled plug, before and after its minute, with and
// without the reports that the journal removes.
func TestAnsweredCountsSurviveAPulledPlug(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.goes(20*time.Second, both(mild))
	for range 3 {
		s.rejects("press-2", "dust", 1)
	}
	s.crash()
	c.turn(10 * time.Second)
	s = openShop(t, dir, c)
	if d := defectOf(s.press("press-2"), "dust"); d.Total != 3 || d.Highest != 3 {
		t.Errorf("after a pulled plug: %+v, want 3", d)
	}
	if m := s.minutes("press-2", "dust"); len(m) != 1 || m[0].Add != 3 {
		t.Errorf("events %+v, want one of 3", m)
	}
	s.rejects("press-2", "dust", 4)
	s.goes(checkpointEvery+time.Minute, both(mild)) // a checkpoint, after which the reports are not needed
	counted := 0
	if err := s.journal.Each(s.ctx, func(r record.Record) error {
		if r.Body.Kind() == record.KindCounted {
			counted++
		}
		return nil
	}); err != nil || counted != 0 {
		t.Errorf("%d reports are still in the journal (%v)", counted, err)
	}
	live := s.b.write.durable
	s.crash()
	if got := loadState(t, dir); got != jsonOf(t, live) {
		t.Errorf("the journal gives another state than was live:\n%s\n%s", jsonOf(t, live), got)
	}
	all := record.NewState(live.Journal)
	j, err := journal.OpenToRead(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if err := j.Each(t.Context(), func(r record.Record) error { all = record.Apply(all, r); return nil }); err != nil {
		t.Fatal(err)
	}
	if d := gocmp.Diff(live.Defects, all.Defects); d != "" {
		t.Errorf("from the beginning (-want +got):\n%s", d)
	}
}

func TestLateReportsCountAtTheirTime(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.goes(3*time.Minute, both(mild))
	was := s.b.clock.now()
	s.goes(2*time.Minute, both(humid))
	s.must(request.UnloadBatch{Batch: id})
	s.goes(3*time.Minute, both(humid))
	two, at := uint64(2), was.Add(10*time.Second)
	s.counts(request.CountPrints{Press: "press-1", Add: &two, At: &at})
	s.goes(time.Minute, both(humid))
	m := s.minutes("press-1", "")
	if len(m) != 1 || m[0].Batch != id || !m[0].Late || !m[0].Minute.Equal(at.Truncate(time.Minute)) || *m[0].HumidityPct != 50 || m[0].Spent == nil {
		t.Fatalf("events %+v, want one with the batch and the air of then", m)
	}
	if b := s.batch(id); b.Prints != 2 {
		t.Errorf("the batch: %d prints", b.Prints)
	}
	if _, stands := s.alarm(alarm.NoBatch, "press-1"); stands {
		t.Error("late prints of a batch that is unloaded by now raise the alarm for printing without a batch")
	}
	for name, wrong := range map[string]time.Time{
		"too late": s.b.clock.now().Add(-request.MaxLate - time.Second), "not yet": s.b.clock.now().Add(2 * time.Minute),
	} {
		if body, refusal := s.asks(request.CountPrints{Press: "press-1", Add: &two, At: &wrong}); refusal == nil {
			t.Errorf("%s: %s, want a refusal", name, body)
		}
	}
	// Nothing is known of a time before a restart.
	at = s.b.clock.now().Add(-5 * time.Minute)
	s.b.conditions = map[string][]conditions{}
	s.counts(request.CountDefects{Press: "press-1", Kind: "dust", Add: new(int64(1)), At: &at})
	s.goes(time.Minute, both(humid))
	if m := s.minutes("press-1", "dust"); len(m) != 1 || m[0].Batch != "" || m[0].Conditions != (record.Conditions{Zone: "bench"}) {
		t.Errorf("events %+v, want one without conditions", m)
	}
}

func TestCorrectionsStayAboveZero(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	refused := func(press, kind string, add int64) {
		t.Helper()
		if body, refusal := s.asks(request.CountDefects{Press: press, Kind: kind, Add: &add}); refusal == nil || refusal.Code != "too-few" {
			t.Errorf("%d %s of %s: %s (%v), want a refusal", add, kind, press, body, refusal)
		}
	}
	refused("press-1", "dust", -1)
	s.rejects("press-1", "dust", 2)
	refused("press-1", "ghost", -1)
	refused("press-2", "dust", -1)
	refused("press-1", "dust", -3)
	s.rejects("press-1", "dust", -1)
	s.goes(time.Minute, both(mild))
	s.rejects("press-1", "dust", -1)
	s.goes(time.Minute, both(mild))
	if d := defectOf(s.press("press-1"), "dust"); d.Total != 0 || d.Today != 0 || d.Highest != 1 {
		t.Errorf("%+v: want none, and a series that does not fall below 1", d)
	}
	s.rejects("press-1", "dust", 3)
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	refused("press-1", "dust", -1) // those were not of this batch
	s.rejects("press-1", "dust", 1)
	s.rejects("press-1", "dust", -1)
	s.goes(time.Minute, both(mild))
	if m := s.minutes("press-1", "dust"); len(m) != 4 || m[0].Add != 1 || m[1].Add != -1 || m[2].Add != 3 || m[3].Add != 0 {
		t.Errorf("events %+v, want 1, -1, 3 and 0", m)
	}
	if d := defectOf(s.press("press-1"), "dust"); d.Total != 3 || d.Highest != 3 {
		t.Errorf("%+v, want 3", d)
	}
}

func TestUnknownKindIsRefused(t *testing.T) {
	s := openShopOf(t, t.TempDir(), newClock(), testShop+"defects: [{id: cliche-wear, words: Worn cliché}]\n")
	defer s.crash()
	if _, refusal := s.asks(request.CountDefects{Press: "press-1", Kind: "rust", Add: new(int64(1))}); refusal == nil || refusal.Kind != request.Invalid {
		t.Errorf("a kind that does not exist: %v", refusal)
	}
	if d := defectOf(s.rejects("press-1", "cliche-wear", 1), "cliche-wear"); d.Total != 1 || d.Words != "Worn cliché" {
		t.Errorf("a kind of the shop's own: %+v", d)
	}
	if body, refusal := s.asks(request.CountDefects{Press: "press-9", Kind: "dust", Add: new(int64(1))}); refusal == nil || refusal.Kind != request.NotFound {
		t.Errorf("an unknown press: %s, %v", body, refusal)
	}
}

// A repeated report counts once, also after a restart, and its key is not kept for a day.
func TestARepeatedReportCountsOnce(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	defer func() { s.crash() }()
	s.goes(20*time.Second, both(mild))
	report := func(key, hash string) (view.Press, error) {
		w := &waiter{request: request.Request{Change: request.CountPrints{Press: "press-1", Add: new(uint64(5))}, By: "tester", Key: key, Hash: hash}, answer: make(chan answer, 1)}
		s.enter(w)
		a := <-w.answer
		var v view.Press
		_ = json.Unmarshal(a.reply.Body, &v)
		return v, a.err
	}
	for i := range 3 {
		if v, err := report("k1", "h1"); err != nil || *v.PrintsTotal != 5 {
			t.Fatalf("report %d: %+v, %v", i+1, v, err)
		}
		if i == 1 {
			s.crash()
			s = openShop(t, dir, c)
		}
	}
	if _, err := report("k1", "h2"); err == nil {
		t.Error("another report with a used key is taken")
	}
	for i := range 40 {
		s.goes(time.Minute, both(mild))
		if _, err := report(fmt.Sprint("other-", i), "h"); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(s.b.state.ReportKeys); n > 31 || len(s.b.keys.known) != 0 {
		t.Errorf("the keys of %d minutes are kept, and %d answers", n, len(s.b.keys.known))
	}
}

// TestCountsAddUp lets presses and cameras report what they like, with changes of batches, a
// disk that fails, a clock that jumps, pulled plugs and checkpoints. The totals are those that
// were answered, and so are the sums of the events; no count falls below zero.
func TestCountsAddUp(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	rapid.Check(t, func(rt *rapid.T) {
		dir, c := t.TempDir(), newClock()
		s := openShop(t, dir, c)
		defer func() { s.crash() }()
		s.goes(6*time.Second, both(mild))
		ids := []string{s.records("dial-satin", 60, 15, 7.5), s.records("dial-satin", 60, 15, 7.5)}
		type place struct{ press, defect string }
		places := []place{{"press-1", ""}, {"press-1", "dust"}, {"press-2", ""}, {"press-2", "dust"}, {"press-2", "ghost"}}
		answered := map[place]int64{}
		rt.Repeat(map[string]func(*rapid.T){
			"report": func(rt *rapid.T) {
				at := rapid.SampledFrom(places).Draw(rt, "of")
				n := rapid.Int64Range(-3, 5).Draw(rt, "add")
				var when *time.Time
				if rapid.IntRange(0, 3).Draw(rt, "late") == 0 {
					when = new(s.b.clock.now().Add(-time.Duration(rapid.IntRange(-100, 1000).Draw(rt, "by")) * time.Second))
				}
				var change request.Change = request.CountDefects{Press: at.press, Kind: at.defect, Add: &n, At: when}
				if at.defect == "" {
					change = request.CountPrints{Press: at.press, Add: new(uint64(max(n, 0))), At: when}
				}
				if _, refusal := s.asks(change); refusal == nil {
					answered[at] += n
					if at.defect == "" && n < 0 {
						answered[at] -= n
					}
				}
			},
			"load": func(rt *rapid.T) {
				s.ask(request.LoadBatch{Batch: rapid.SampledFrom(ids).Draw(rt, "batch"), Press: rapid.SampledFrom([]string{"press-1", "press-2"}).Draw(rt, "press"), Replace: true})
			},
			"unload": func(rt *rapid.T) { s.ask(request.UnloadBatch{Batch: rapid.SampledFrom(ids).Draw(rt, "batch")}) },
			"close": func(rt *rapid.T) {
				s.ask(request.CloseBatch{Batch: rapid.SampledFrom(ids).Draw(rt, "batch"), Outcome: "used-up"})
			},
			"undo": func(*rapid.T) {
				if n := len(s.b.state.Undoables); n > 0 {
					d := s.b.state.Undoables[n-1]
					for id := range d.Batches {
						s.ask(request.Undo{Batch: id, Seq: d.Seq})
						break
					}
				}
			},
			"time": func(rt *rapid.T) {
				s.goes(time.Duration(rapid.IntRange(1, 90).Draw(rt, "s"))*time.Second, both(mild))
			},
			"checkpoint": func(*rapid.T) { s.b.write.checkpoint = true; s.settle() },
			"disk": func(*rapid.T) {
				if s.journal.full = errFull; rapid.Bool().Draw(rt, "works") {
					s.journal.full = nil
				}
			},
			"clock": func(rt *rapid.T) {
				c.is.Wall = c.is.Wall.Add(time.Duration(rapid.IntRange(-90000, 90000).Draw(rt, "step")) * time.Second)
				s.goes(time.Second, both(mild))
			},
			"plug": func(rt *rapid.T) {
				s.crash()
				c.turn(time.Duration(rapid.IntRange(0, 900).Draw(rt, "off")) * time.Second)
				s = openShop(t, dir, c)
			},
			"": func(rt *rapid.T) {
				for at, want := range answered {
					is := s.b.state.Prints[at.press]
					if at.defect != "" {
						is = s.b.state.Defects[at.press][at.defect]
					}
					if int64(is.Total) != want || is.Today > is.Total {
						rt.Fatalf("%v: %+v, answered were %d", at, is, want)
					}
				}
			},
		})
		s.journal.full = nil
		s.goes(70*time.Second, both(mild))
		checkMinutes(rt, s, func(press, defect string) int64 { return answered[place{press, defect}] })
		if got, want := jsonOf(t, must(s.journal.Load(s.ctx))), jsonOf(t, s.b.write.durable); got != want {
			rt.Fatalf("the journal gives another state than was live:\n%s\n%s", got, want)
		}
	})
}

func must[V any](v V, err error) V {
	if err != nil {
		panic(err)
	}
	return v
}

// checkMinutes checks the events of counts: their sums are what was answered, and no sum of a
// batch is below zero.
func checkMinutes(rt *rapid.T, s *shop, answered func(press, defect string) int64) {
	ofBatch := map[[2]string]int64{} // by batch, or by press without one, and kind of defect
	for _, press := range []string{"press-1", "press-2"} {
		for _, defect := range []string{"", "dust", "ghost"} {
			sum := int64(0)
			for _, m := range s.minutes(press, defect) {
				sum += m.Add
				ofBatch[[2]string{cmp.Or(m.Batch, press), defect}] += m.Add
			}
			if sum != answered(press, defect) {
				rt.Fatalf("%s %q: the events add up to %d, answered were %d", press, defect, sum, answered(press, defect))
			}
		}
	}
	for of, n := range ofBatch {
		if n < 0 {
			rt.Fatalf("%v: %d", of, n)
		}
	}
}
