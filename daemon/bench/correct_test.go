package bench

import (
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// toThinner brings a mix of 60 g of ink and 15 g of hardener to step thinner; the scale shows
// 87 g.
func (s *shop) toThinner() (id string) {
	s.t.Helper()
	id, gross := s.begins(60)
	s.weighs(gross, 2*time.Second)
	if v := s.must(request.ConfirmStep{Batch: id, Step: "stir-hardener"}); *v.Step != guide.Thinner {
		s.t.Fatalf("at %s, want thinner", *v.Step)
	}
	return id
}

func (s *shop) refused(code string, c request.Change) {
	s.t.Helper()
	seq := s.b.state.Seq
	if _, refusal := s.ask(c); refusal == nil || refusal.Code != code {
		s.t.Errorf("%s %+v: %v, want it refused as %s", c.Verb(), c, refusal, code)
	}
	if s.b.state.Seq != seq {
		s.t.Errorf("%s %+v: refused, and %d events", c.Verb(), c, s.b.state.Seq-seq)
	}
}

// As it went wrong: at step thinner 9.3 g came from the hardener's can. The correction that was
// meant for them made hardener of the confirmed ink.
func TestTheWrongCanIsMendedBeforeItIsTaken(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.toThinner()
	s.pours(87, 96.3, 3*time.Second)
	if n := s.scaleView().NotTaken; n == nil || *n != (view.NotTaken{Step: guide.Thinner, Part: mix.Thinner, G: 9.3}) {
		t.Fatalf("not taken: %+v", n)
	}
	before := s.batch(id)
	if len(before.Pours) != 2 || before.Pours[0].Part != mix.Ink || before.Pours[1].Part != mix.Hardener || before.Pours[0].Seq == 0 || before.Pours[1].Seq <= before.Pours[0].Seq {
		t.Fatalf("taken: %+v", before.Pours)
	}
	s.refused("which-pour", request.CorrectPour{Batch: id, Part: "ink"})
	s.refused("which-pour", request.CorrectPour{Batch: id, Undo: true})
	s.refused("not-taken-first", request.CorrectPour{Batch: id, Pour: &before.Pours[1].Seq, Undo: true})
	s.refused(guide.AsExpected, request.CorrectPour{Batch: id, NotTaken: true, Part: "thinner"})
	none := uint64(1)
	s.refused("no-such-pour", request.CorrectPour{Batch: id, Pour: &none, Undo: true})

	v := s.must(request.CorrectPour{Batch: id, NotTaken: true, Part: "hardener"})
	if p := poured(v); !near(p["ink"], 60) || !near(p["hardener"], 24.3) || p["thinner"] != 0 {
		t.Errorf("poured %v", p)
	}
	if len(v.Pours) != 3 || v.Pours[2].Part != mix.Hardener || v.Pours[2].Seq != v.Seq || *v.Step != guide.Hardener {
		t.Errorf("at %s with %+v", *v.Step, v.Pours)
	}
	if s.scaleView().NotTaken != nil {
		t.Error("taken, and not taken")
	}
	// 37.2 g of ink bring 24.3 g of hardener back to 4:1, and the step's own pour goes on.
	s.pours(96.3, 133.5, 4*time.Second)
	if v = s.must(request.ConfirmStep{Batch: id, Step: "hardener"}); *v.Step != guide.StirHardener {
		t.Fatalf("at %s, %v", *v.Step, v.Corrections)
	}
	s.weighs(133.5, 2*time.Second)
	if v = s.must(request.ConfirmStep{Batch: id, Step: "stir-hardener"}); *v.Step != guide.Thinner {
		t.Errorf("at %s, want the step's own pour", *v.Step)
	}
}

// An undone pour is in the cup and not in the record, until it has a name. A restart does not
// forget it.
func TestAnUndonePourStaysInTheCup(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	id := s.toThinner()
	ink := s.batch(id).Pours[0].Seq
	v := s.must(request.CorrectPour{Batch: id, Pour: &ink, Undo: true})
	if p := poured(v); p["ink"] != 0 || !near(p["hardener"], 15) || *v.Step != guide.Ink || v.MixedAt == nil {
		t.Fatalf("at %s with %v", *v.Step, p)
	}
	s.crash()
	s = openShop(t, dir, c)
	s.weighs(87, 2*time.Second)
	if n := s.scaleView().NotTaken; n == nil || *n != (view.NotTaken{Step: guide.Ink, G: 60, MustName: true}) {
		t.Fatalf("not taken: %+v", n)
	}
	s.refused(guide.NotNamed, request.ConfirmStep{Batch: id, Step: "ink"})
	s.refused("not-taken-first", request.CorrectPour{Batch: id, Pour: &s.batch(id).Pours[0].Seq, Undo: true})
	v = s.must(request.CorrectPour{Batch: id, NotTaken: true, Part: "ink"})
	if p := poured(v); !near(p["ink"], 60) || !near(p["hardener"], 15) || *v.Step != guide.StirHardener {
		t.Errorf("at %s with %v", *v.Step, p)
	}
	if s.scaleView().NotTaken != nil {
		t.Error("named, and not taken")
	}
	s.crash()
}

// What is far too much is told with its cures while it is still on the scale, and a single
// confirm does not take it.
func TestFarTooMuchInk(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
	s.weighs(12, 2*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 71, 4*time.Second)
	if p := s.scaleView().Pouring; p.Verdict != guide.Below || !p.Accepted || p.LowG < 59.9 {
		t.Errorf("59.0 g of 60 g: %+v", p)
	}
	s.pours(71, 72, time.Second)
	if p := s.scaleView().Pouring; p.Verdict != guide.Right || len(p.Cures) != 0 {
		t.Errorf("60.0 g of 60 g: %+v", p)
	}
	s.reads(90)
	s.reads(107)
	if p := s.scaleView().Pouring; p.Verdict != guide.FarOver || p.Cures != nil {
		t.Errorf("while it moves: %+v", p)
	}
	s.weighs(107, 2*time.Second)
	p := s.scaleView().Pouring
	if p.Verdict != guide.FarOver || p.Accepted || len(p.Cures) != 2 || p.Cures[0].Kind != guide.TakeOut || !near(p.Cures[0].G, 15) || p.Cures[1].Kind != guide.LargerCup {
		t.Fatalf("95 g for 60 g: %+v", p)
	}
	s.refused(guide.TooMuch, request.ConfirmStep{Batch: id, Step: "ink"})
	s.pours(107, 92, time.Second)
	if v := s.must(request.ConfirmStep{Batch: id, Step: "ink"}); *v.Step != guide.Hardener || !near(poured(v)["ink"], 80) {
		t.Errorf("at %s with %v", *v.Step, poured(v))
	}
	s.pours(92, 112+3.9, 3*time.Second)
	if p := s.scaleView().Pouring; p.Verdict != guide.Over || len(p.Cures) < 2 || p.Cures[0].Kind != guide.Add || p.Cures[0].Part != mix.Ink || p.Cures[0].Fits || p.Cures[len(p.Cures)-1].Kind != guide.LargerCup {
		t.Errorf("3.9 g too much hardener in a full cup: %+v", p)
	}
}
