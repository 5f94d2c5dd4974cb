package bench

import (
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// knowsCups is a shop whose first mix has told what an empty cup weighs. The mix is done and
// its cup is off the scale.
func knowsCups(t *testing.T) *shop {
	t.Helper()
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-2"})
	s.lifts()
	return s
}

func (s *shop) starts() string {
	s.t.Helper()
	return s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
}

func (s *shop) at(id string, want guide.Step) {
	s.t.Helper()
	if is := s.batch(id).Step; is == nil || *is != want {
		s.t.Errorf("at %s, want %s", s.b.state.Batches[id].Mix.Step, want)
	}
}

// A cup of a known weight that is set down on an empty pan is taken by itself, and that can be
// undone. It is not taken again then.
func TestACupIsTakenByItself(t *testing.T) {
	s := knowsCups(t)
	id := s.starts()
	s.weighs(0, 2*time.Second)
	s.at(id, guide.Cup)
	s.putsDown(12.3)
	s.at(id, guide.Ink)
	taken := s.batch(id).ByBench
	if taken == nil || taken.Step != guide.Cup || !taken.Until.After(s.b.clock.now()) {
		t.Fatalf("confirmed by the bench: %+v", taken)
	}
	// A client that has not seen it yet confirms the cup; nothing more happens.
	seq := s.b.state.Seq
	if v := s.must(request.ConfirmStep{Batch: id, Step: "cup"}); *v.Step != guide.Ink || s.b.state.Seq != seq {
		t.Errorf("confirmed again: at %s after %d events", *v.Step, s.b.state.Seq-seq)
	}
	s.must(request.Undo{Batch: id, Seq: taken.Seq})
	s.weighs(12.3, 3*time.Second)
	s.at(id, guide.Cup)
	if s.batch(id).ByBench != nil {
		t.Error("undone, and still said to be confirmed by the bench")
	}
	s.lifts()
	s.putsDown(12.1)
	s.at(id, guide.Ink)
	s.pours(12.1, 72.1, 6*time.Second)
	v := s.must(request.ConfirmStep{Batch: id, Step: "ink"})
	if !near(poured(v)["ink"], 60) {
		t.Errorf("poured %v", poured(v))
	}
	s.refused(guide.WrongStep, request.ConfirmStep{Batch: id, Step: "cup"})
}

// A cup that stands there when the mix is started is taken, too.
func TestACupThatArrivedBeforeTheStart(t *testing.T) {
	s := knowsCups(t)
	s.putsDown(12)
	id := s.starts()
	s.weighs(12, time.Second)
	s.at(id, guide.Ink)
}

func TestACupIsLeftToAPerson(t *testing.T) {
	for name, does := range map[string]func(*shop){
		"of another weight":   func(s *shop) { s.putsDown(20) },
		"poured into":         func(s *shop) { s.pours(0, 12, 3*time.Second) },
		"it was never empty":  func(s *shop) { s.weighs(30, 2*time.Second); s.reads(20); s.weighs(12, 2*time.Second) },
		"a tared one is away": func(s *shop) { s.weighs(-87, 2*time.Second); s.turnTo(12); s.weighs(12, 2*time.Second) },
	} {
		s := knowsCups(t)
		id := s.starts()
		s.weighs(0, 2*time.Second)
		does(s)
		if is := *s.batch(id).Step; is != guide.Cup {
			t.Errorf("%s: at %s, want the step to wait for a person", name, is)
		}
	}
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	s.lifts()
	id := s.starts()
	s.putsDown(12)
	s.at(id, guide.Cup) // nobody knows what an empty cup weighs
}

// A cup that was off the scale for the stirring time and came back is stirred.
func TestAStirIsSeen(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id, gross := s.begins(60)
	s.weighs(0, 10*time.Second)
	s.putsDown(gross - 0.4)
	s.at(id, guide.StirHardener) // too briefly: asked
	s.weighs(0, 25*time.Second)
	s.putsDown(gross - 0.6)
	s.at(id, guide.Thinner)
	if by := s.batch(id).ByBench; by == nil || by.Step != guide.StirHardener {
		t.Fatalf("confirmed by the bench: %+v", by)
	}
	if v := s.must(request.ConfirmStep{Batch: id, Step: "stir-hardener"}); *v.Step != guide.Thinner {
		t.Errorf("confirmed by a person, too: at %s", *v.Step)
	}
	gross -= 0.6
	s.pours(gross, gross+7.5, 2*time.Second)
	v := s.must(request.ConfirmStep{Batch: id, Step: "thinner"})
	if !near(poured(v)["thinner"], 7.5) {
		t.Errorf("poured %v", poured(v))
	}
	gross += 7.5
	s.weighs(0, 25*time.Second)
	s.putsDown(gross)
	s.at(id, guide.Load)
	taken := s.batch(id).ByBench
	if taken == nil {
		t.Fatal("not confirmed by the bench")
	}
	s.must(request.Undo{Batch: id, Seq: taken.Seq})
	s.at(id, guide.StirThinner)
	s.weighs(gross, 2*time.Second)
	s.at(id, guide.StirThinner)
}

// Hardener that is in ratio and at rest when its cup is lifted for the stir is taken with it;
// one undo takes both back.
func TestHardenerIsTakenWithItsStir(t *testing.T) {
	pour := func(g float64) (s *shop, id string) {
		s = openShop(t, t.TempDir(), newClock())
		s.pass(20*time.Second, both(mild))
		id = s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
		s.weighs(12, 2*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "cup"})
		s.pours(12, 72, 6*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "ink"})
		s.pours(72, 72+g, 3*time.Second)
		s.weighs(0, 25*time.Second)
		s.putsDown(72 + g - 0.5)
		return s, id
	}
	s, id := pour(15.1)
	s.at(id, guide.Thinner)
	if v := s.batch(id); !near(poured(v)["hardener"], 15.1) || v.MixedAt == nil {
		t.Errorf("poured %v", poured(v))
	}
	seq := s.b.state.Seq
	for _, step := range []string{"hardener", "stir-hardener"} {
		if v := s.must(request.ConfirmStep{Batch: id, Step: step}); *v.Step != guide.Thinner || s.b.state.Seq != seq {
			t.Errorf("%s confirmed by a person, too: at %s after %d events", step, *v.Step, s.b.state.Seq-seq)
		}
	}
	by := s.batch(id).ByBench
	if by == nil {
		t.Fatal("not confirmed by the bench")
	}
	s.must(request.Undo{Batch: id, Seq: by.Seq})
	s.weighs(86.6, 2*time.Second)
	s.at(id, guide.Hardener)
	if n := s.scaleView().NotTaken; n == nil || !near(n.G, 15.1) || n.Part != mix.Hardener {
		t.Errorf("undone, and not taken is %+v", n)
	}
	// Out of ratio it waits for a person.
	for _, g := range []float64{13, 18} {
		s, id := pour(g)
		s.at(id, guide.Hardener)
	}
}

// An ordinary mix takes four requests: start, the ink, the thinner, and the press. The change-over
// is in the last one.
func TestRequestsOfAnOrdinaryMix(t *testing.T) {
	s := knowsCups(t)
	requests := 0
	ask := func(c request.Change) string { requests++; return s.must(c).ID }
	id := ask(request.StartMix{Ink: "dial-satin", Press: "press-2"})
	s.weighs(0, 2*time.Second)
	s.putsDown(12)
	s.pours(12, 72, 6*time.Second)
	ask(request.ConfirmStep{Batch: id, Step: "ink"})
	s.pours(72, 87, 3*time.Second)
	s.weighs(0, 25*time.Second)
	s.putsDown(87)
	s.pours(87, 94.5, 2*time.Second)
	ask(request.ConfirmStep{Batch: id, Step: "thinner"})
	s.weighs(0, 25*time.Second)
	s.putsDown(94.5)
	s.at(id, guide.Load)
	old := s.b.state.Presses["press-2"].Batch
	ask(request.LoadBatch{Batch: id, Press: "press-2", ComesOff: &request.ComesOff{Batch: old, Outcome: "used-up"}})
	if requests != 4 || text(s.batch(id).Press) != "press-2" || len(s.b.state.Batches) != 1 {
		t.Errorf("%d requests, on %q, %d open batches", requests, text(s.batch(id).Press), len(s.b.state.Batches))
	}
	if p := poured(s.batch(id)); !near(p["ink"], 60) || !near(p["hardener"], 15) || !near(p["thinner"], 7.5) {
		t.Errorf("poured %v", p)
	}
}

// What came back is lighter than what clings to a stick, or heavier: a person is asked.
func TestAStirIsLeftToAPerson(t *testing.T) {
	for name, does := range map[string]func(s *shop, gross float64){
		"never lifted":     func(s *shop, gross float64) { s.weighs(gross, 30*time.Second) },
		"something in it":  func(s *shop, gross float64) { s.weighs(0, 25*time.Second); s.putsDown(gross + 7.5) },
		"another cup":      func(s *shop, gross float64) { s.weighs(0, 25*time.Second); s.putsDown(gross / 3) },
		"an open question": func(s *shop, gross float64) { s.weighs(0, 25*time.Second); s.pours(0, gross, 3*time.Second) },
	} {
		s := openShop(t, t.TempDir(), newClock())
		s.pass(20*time.Second, both(mild))
		id, gross := s.begins(60)
		does(s, gross)
		if is := *s.batch(id).Step; is != guide.StirHardener {
			t.Errorf("%s: at %s, want the step to wait for a person", name, is)
		}
	}
}

// The cup of a finished mix that weighs the same may be the one that came back.
func TestACupOfTheSameWeightIsNotTakenForAStirredOne(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	s.mixes() // 94.5 g, on no press yet
	id := s.toThinner()
	s.pours(87, 94.5, 2*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "thinner"})
	s.weighs(0, 25*time.Second)
	s.putsDown(94.5)
	s.at(id, guide.StirThinner)
}

// A tare and a pour of about what an empty cup weighs are no question if the pour took as long
// as a pour does. On a busy machine all its readings came at once, which looked like a cup of 18 g
// that was set down.
func TestAPourOfACupsWeightIsNoQuestion(t *testing.T) {
	asked := func(between ...float64) bool {
		s := openShop(t, t.TempDir(), newClock())
		s.pass(20*time.Second, both(mild))
		ink := 68.0
		id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1", InkG: &ink}).ID
		s.weighs(18, 2*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "cup"})
		s.pours(18, 86, 6*time.Second)
		s.must(request.ConfirmStep{Batch: id, Step: "ink"})
		s.weighs(0, 2*time.Second) // tared
		s.clock.turn(time.Duration(len(between)) * 100 * time.Millisecond)
		for _, g := range between {
			s.enter(weightReading{scale: "scale-1", reading: weigh.Reading{Grams: g, HasWeight: true, Stability: weigh.Moving}, at: s.clock.is.Mono})
		}
		s.weighs(17, 2*time.Second)
		_, refusal := s.ask(request.ConfirmStep{Batch: id, Step: "hardener"})
		if refusal != nil && refusal.Code != guide.AmbiguousTare {
			t.Fatal(refusal)
		}
		return refusal != nil
	}
	if asked(1.5, 3, 4.5, 6, 7.5, 9, 10.5, 12, 13.5, 15, 16.5) {
		t.Error("a pour of more than a second was asked about")
	}
	if !asked(6, 15) || !asked() {
		t.Error("17 g at once are about an empty cup of 18 g, and nobody was asked")
	}
}
