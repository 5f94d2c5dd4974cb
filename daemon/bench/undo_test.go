package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
)

// TestWhatWasDoneIsTakenBack: for each doing, everything that it touched is as it was,
// but for the air of the seconds in between.
func TestWhatWasDoneIsTakenBack(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id, other := s.mixes(), s.mixes()
	s.must(request.LoadBatch{Batch: other, Press: "press-2"})
	s.pass(time.Hour, both(humid))
	half := 0.5
	for name, c := range map[string]request.Change{
		"load":          request.LoadBatch{Batch: id, Press: "press-1"},
		"load in place": request.LoadBatch{Batch: id, Press: "press-2", Replace: true},
		"move":          request.MoveBatch{Batch: id, Zone: "hall", Exposure: &half},
		"move on top":   request.MoveBatch{Batch: id, Press: "press-2", Replace: true},
		"unload":        request.UnloadBatch{Batch: other},
		"close":         request.CloseBatch{Batch: other, Outcome: "used-up", StillGood: "yes"},
		"went off":      request.CloseBatch{Batch: other, Outcome: "went-off"},
		"good":          request.GoodBatch{Batch: id},
		"thin":          request.ThinBatch{Batch: id, Grams: 1},
		"split":         request.SplitBatch{Batch: id, Grams: 20, To: request.Where{Press: "press-1"}},
		"split on top":  request.SplitBatch{Batch: id, Grams: 20, To: request.Where{Press: "press-2"}, Replace: true},
		"top up":        request.TopUpBatch{Batch: id, From: other},
		"flow time":     request.FlowTimeBatch{Batch: id, Cup: "ford-4", Seconds: 60, SecondRunS: new(61.0)},
		"tests":         request.TestBatch{Batch: id, Kind: "rub", Result: "pass"},
	} {
		s.pass(30*time.Second, both(humid))
		before := s.batch(id)
		otherBefore := s.batch(other)
		spent := map[string]float64{id: s.b.state.Batches[id].Ensemble.Spent(), other: s.b.state.Batches[other].Ensemble.Spent()}
		until := map[string]time.Time{before.Zone: s.b.state.Zones[before.Zone].Until, otherBefore.Zone: s.b.state.Zones[otherBefore.Zone].Until}
		done := s.must(c)
		s.pass(9*time.Second, both(humid))
		v := s.must(request.Undo{Batch: done.ID, Seq: done.Seq})
		if name == "split" || name == "split on top" {
			if v.State != lifecycle.Closed || v.Outcome != "undone" {
				t.Errorf("%s: the part is %s as %q", name, v.State, v.Outcome)
			}
		}
		for _, was := range []view.Batch{before, otherBefore} {
			is := s.batch(was.ID)
			if text(is.Press) != text(was.Press) || is.Zone != was.Zone || is.State != was.State || !is.GoodAt.Equal(*was.GoodAt) || !is.MixedAt.Equal(*was.MixedAt) {
				t.Errorf("%s: %s is on %q in %s, %s, good at %v; it was on %q in %s, %s, good at %v", name, was.ID,
					text(is.Press), is.Zone, is.State, is.GoodAt, text(was.Press), was.Zone, was.State, was.GoodAt)
			}
			for part, g := range poured(was) {
				if !near(poured(is)[part], g) {
					t.Errorf("%s: %s of %s is %v g, was %v", name, part, was.ID, poured(is)[part], g)
				}
			}
			batch := s.b.state.Batches[was.ID]
			now := batch.Ensemble.Spent()
			want := handRate(80) * s.b.state.Zones[was.Zone].Until.Sub(until[was.Zone]).Hours()
			if grew := now - spent[was.ID]; math.Abs(grew-want) > 1e-6 {
				t.Errorf("%s: %s grew older by %v in these seconds, want about %v", name, was.ID, grew, want)
			}
			if age := s.b.state.Zones[was.Zone].Until.Sub(batch.MixedAt) - batch.Ensemble.Age(); age.Abs() > time.Millisecond {
				t.Errorf("%s: the age of %s is off by %v", name, was.ID, age)
			}
		}
		if _, refusal := s.ask(request.Undo{Batch: done.ID, Seq: done.Seq}); refusal == nil || refusal.Code != "too-late" {
			t.Errorf("%s: taken back twice: %v", name, refusal)
		}
	}
	if got := s.b.state.NextPart(id); got != id+"d" {
		t.Errorf("the next part will be %s although two ids were given before", got)
	}
}

func text(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func TestTakingBackHasItsEnd(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id, other := s.mixes(), s.mixes()
	late := func(c request.Change) {
		t.Helper()
		if _, refusal := s.ask(c); refusal == nil || refusal.Kind != request.NotNow || refusal.Code != "too-late" {
			t.Errorf("%+v: %v, want it to be too late", c, refusal)
		}
	}
	loaded := s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(14*time.Second, both(mild))
	late(request.Undo{Batch: id, Seq: loaded.Seq})
	late(request.Undo{Batch: other, Seq: loaded.Seq})
	if _, refusal := s.ask(request.Undo{Batch: "0612-99", Seq: loaded.Seq}); refusal == nil || refusal.Kind != request.NotFound {
		t.Errorf("of no batch: %v", refusal)
	}
	// Something has happened since to what it touched.
	loaded = s.must(request.MoveBatch{Batch: id, Press: "press-2"})
	s.pass(time.Second, both(mild))
	good := s.must(request.GoodBatch{Batch: id})
	late(request.Undo{Batch: id, Seq: loaded.Seq})
	s.must(request.Undo{Batch: id, Seq: good.Seq})
	late(request.Undo{Batch: id, Seq: loaded.Seq})
	// Another cup has come onto the press.
	off := s.must(request.UnloadBatch{Batch: id})
	s.pass(time.Second, both(mild))
	s.must(request.LoadBatch{Batch: other, Press: "press-2"})
	late(request.Undo{Batch: id, Seq: off.Seq})
}

// TestAMixGivenUpByMistake comes back where it was, unless another has taken its scale.
func TestAMixGivenUpByMistake(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	id, gross := s.begins(60)
	gone := s.must(request.AbandonMix{Batch: id})
	s.weighs(gross, 3*time.Second)
	v := s.must(request.Undo{Batch: id, Seq: gone.Seq})
	if v.State != lifecycle.Mixing || v.Aside || *v.Step != "stir-hardener" || v.AgeS == nil {
		t.Fatalf("it came back as %+v", v)
	}
	gone = s.must(request.AbandonMix{Batch: id})
	s.pass(time.Second, both(mild))
	s.must(request.StartMix{Ink: "dial-satin"})
	if v := s.must(request.Undo{Batch: id, Seq: gone.Seq}); !v.Aside {
		t.Error("two mixes hold one scale")
	}
}

// TestTakenBackOverARestart: what can be taken back is in the checkpoint, and a restart
// ends it.
func TestTakenBackOverARestart(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	done := s.must(request.CloseBatch{Batch: id, Outcome: "used-up"})
	s.must(request.Undo{Batch: id, Seq: done.Seq})
	want := s.b.state.Batches[id].Ensemble.Spent()
	done = s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.crash()
	s = openShop(t, dir, c)
	defer s.crash()
	if got := s.b.state.Batches[id].Ensemble.Spent(); got != want {
		t.Errorf("spent is %v after the replay, was %v", got, want)
	}
	if _, refusal := s.ask(request.Undo{Batch: id, Seq: done.Seq}); refusal == nil {
		t.Error("taken back over a restart")
	}
}

// TestThinnerTakenBackIsInItsCan: the can is as if nobody had poured from it, unless somebody
// has had it in hand since.
func TestThinnerTakenBackIsInItsCan(t *testing.T) {
	s := openCanShop(t)
	id, other := s.mixes(), s.mixes()
	can := s.makes(request.MakeCan{Thinner: "thinner-s", Lot: "T 1"})
	s.pass(30*time.Second, both(mild))
	thins := func(batch string) view.Batch {
		t.Helper()
		v := s.must(request.ThinBatch{Batch: batch, Grams: 1, Can: can})
		s.pass(time.Second, both(mild))
		return v
	}
	before := *s.b.state.Cans[can]
	if before.OpenedOn != "" || !before.UsedAt.IsZero() {
		t.Fatalf("a new can was used: %+v", before)
	}
	done := thins(id)
	if is := s.b.state.Cans[can]; is.OpenedOn == "" || is.UsedAt.IsZero() {
		t.Fatalf("after a pour it is %+v", is)
	}
	s.must(request.Undo{Batch: id, Seq: done.Seq})
	if is := *s.b.state.Cans[can]; is != before {
		t.Errorf("after the pour was taken back it is %+v, was %+v", is, before)
	}

	done = thins(id)
	thins(other)
	used := *s.b.state.Cans[can]
	s.must(request.Undo{Batch: id, Seq: done.Seq})
	if is := *s.b.state.Cans[can]; is != used {
		t.Errorf("the other pour was forgotten with it: %+v, was %+v", is, used)
	}
}
