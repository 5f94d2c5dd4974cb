package bench

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// overPoured is a shop where 15 g of hardener and then 8 g more than the ink needs are in the cup, of which the 8 g are
// not taken: nothing fits into it any more.
func overPoured(t *testing.T, dir string, c *handClock) (s *shop, id string) {
	t.Helper()
	s = openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	ink := 80.0
	id = s.must(request.StartMix{Ink: "dial-satin", Press: "press-1", InkG: &ink}).ID
	s.weighs(12, 2*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 92, 6*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "ink"})
	s.pours(92, 120, 3*time.Second)
	return s, id
}

// A mix that does not fit its cup any more goes on in a larger one: what was taken and what was not stay what they are
// but for what stuck to the old cup, in proportion, and so does its age. A power cut in between changes nothing.
func TestAMixIsPouredIntoALargerCup(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s, id := overPoured(t, dir, c)
	p := s.scaleView().Pouring
	if last := p.Cures[len(p.Cures)-1]; p.Verdict != guide.Over || last.Kind != guide.LargerCup || last.Cup != "cup-130" {
		t.Fatalf("8 g too much: %+v", p)
	}
	if cups := s.batch(id).OtherCups; len(cups) != 2 || cups[1].Cup != "cup-130" || cups[1].EmptyG != nil || *cups[1].TakesG != 180 {
		t.Fatalf("cups: %+v", cups)
	}
	before := s.batch(id)
	v := s.must(request.PourMixOver{Batch: id, Cup: "cup-130"})
	if o := v.PourOver; *v.Step != guide.PourOver || o == nil || o.Step != guide.Hardener || o.EmptyG != nil || !near(o.NotTakenG, 28) || !near(o.ContentG, 108) || v.Cup != "cup-90" {
		t.Fatalf("begun: %+v", o)
	}
	if row := s.scaleView(); row.Pouring != nil || row.NotTaken != nil {
		t.Errorf("weighed meanwhile: %+v", row)
	}
	s.refused(guide.WrongStep, request.ConfirmStep{Batch: id, Step: "hardener"})
	if _, r := s.ask(request.StartMix{Ink: "dial-satin", Press: "press-2"}); r == nil {
		t.Error("another mix was begun meanwhile")
	}
	s.lifts()
	s.refused(guide.CupAway, request.ConfirmStep{Batch: id, Step: "pour-over"})
	s.putsDown(18)
	v = s.must(request.ConfirmStep{Batch: id, Step: "pour-over"})
	if o := v.PourOver; o == nil || o.EmptyG == nil || !near(*o.EmptyG, 18) || !near(*o.WholeG, 126) || !near(s.b.state.CupEmptyG["cup-130"], 18) {
		t.Fatalf("the new cup was weighed: %+v", o)
	}
	s.crash()
	s = openShop(t, dir, c)
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	s.pours(18, 125, 5*time.Second) // 1 g sticks to the old cup
	v = s.must(request.ConfirmStep{Batch: id, Step: "pour-over"})
	kept := 107.0 / 108
	if *v.Step != guide.Hardener || v.PourOver != nil || v.Cup != "cup-130" || len(v.Pours) != 1 || !near(poured(v)["ink"], 80*kept) || !v.MixedAt.Equal(*before.MixedAt) || s.b.state.Batches[id].Basis.Solvent.MouthMM != 130 {
		t.Fatalf("in the new cup: %+v", v)
	}
	if n := s.scaleView().NotTaken; n == nil || n.Part != mix.Hardener || !near(n.G, 28*kept) {
		t.Errorf("not taken: %+v", n)
	}
	events, err := s.journal.Events(s.ctx, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	var e record.PouredOver
	last := events[len(events)-1]
	if err := json.Unmarshal(last.JSON, &e); err != nil || record.Kind(last.Kind) != record.KindPouredOver || e.From != "cup-90" || e.To != "cup-130" || !near(e.LostG, 1) || !near(e.BeforeG, 108) || !near(e.AfterG, 107) || !near(e.NotTakenG, 28*kept) {
		t.Errorf("event: %s, %v", last.JSON, err)
	}
	begun := slices.IndexFunc(events, func(e view.Event) bool { return record.Kind(e.Kind) == record.KindPourOverBegun })
	if slices.ContainsFunc(events[begun:], func(e view.Event) bool { return record.Kind(e.Kind) == record.KindPanChanged }) {
		t.Error("the pan was followed while the cups were exchanged")
	}
	// What is poured now is read in the new cup, and its cup is known when it comes back.
	v = s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
	if len(v.Pours) != 2 || !near(v.Pours[1].G, 28*kept) || len(v.Corrections) == 0 {
		t.Fatalf("taken: %+v, corrections %+v", v.Pours, v.Corrections)
	}
	s.pours(125, 125+v.Corrections[0].Add.InkG, 4*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
	s.lifts()
	s.putsDown(125 + v.Corrections[0].Add.InkG)
	s.at(id, guide.StirHardener)
}

// A scale that was tared with a cup on it does not know what is in the new one: that is refused in words that say what
// to do.
func TestATaredScaleIsNotGuessedInAPourOver(t *testing.T) {
	s, id := overPoured(t, t.TempDir(), newClock())
	empty := 18.0
	s.must(request.PourMixOver{Batch: id, Cup: "cup-130", EmptyG: &empty})
	s.lifts()
	s.putsDown(18)
	s.weighs(0, 2*time.Second)       // tared
	s.pours(0, 107.5, 5*time.Second) // all of it
	_, r := s.ask(request.ConfirmStep{Batch: id, Step: "pour-over"})
	if r == nil || r.Code != guide.LostOver || !strings.Contains(r.Text, "zero the scale, and set the new cup down") {
		t.Fatalf("refused: %+v", r)
	}
	s.weighs(-18, 2*time.Second)
	s.weighs(0, 2*time.Second) // zeroed, with nothing on it
	s.putsDown(125.5)
	if v := s.must(request.ConfirmStep{Batch: id, Step: "pour-over"}); *v.Step != guide.Hardener || len(v.Pours) != 1 {
		t.Errorf("at %s with %+v", *v.Step, v.Pours)
	}
}

// The cup of a mix that waits is not taken for the new one, and the old cup may be kept.
func TestAnotherMixsCupIsNotTheNewCup(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	_, gross := s.begins(80)
	s.lifts()
	b, grossB := s.begins(75)
	empty := gross - 75*1.25 + 0.2 // the other cup weighs as much as the new one would
	s.must(request.PourMixOver{Batch: b, Cup: "cup-130", EmptyG: &empty})
	s.lifts()
	s.putsDown(gross)
	s.refused("which-cup", request.ConfirmStep{Batch: b, Step: "pour-over"})
	s.at(b, guide.PourOver)
	s.lifts()
	s.refused(guide.CupAway, request.PourMixOver{Batch: b, Undo: true})
	s.putsDown(grossB)
	if v := s.must(request.PourMixOver{Batch: b, Undo: true}); *v.Step != guide.StirHardener || v.PourOver != nil || v.Cup != "cup-90" {
		t.Errorf("kept: at %s in %s", *v.Step, v.Cup)
	}
	if _, r := s.ask(request.PourMixOver{Batch: b}); r == nil {
		t.Error("neither a cup nor undo")
	}
}

// Where the shop has no larger cup, nobody is told to use one.
func TestNoLargerCupIsAdvisedWhereThereIsNone(t *testing.T) {
	one := strings.Replace(testShop, "  - {id: cup-130, ink_minimum_g: 90, fill_maximum_g: 180, mouth_mm: 130}\n", "", 1)
	s := openShopOf(t, t.TempDir(), newClock(), one)
	s.pass(20*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
	s.weighs(12, 2*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 107, 4*time.Second)
	s.weighs(107, 2*time.Second)
	if p := s.scaleView().Pouring; len(p.Cures) != 1 || p.Cures[0].Kind != guide.TakeOut {
		t.Errorf("cures: %+v", p.Cures)
	}
}
