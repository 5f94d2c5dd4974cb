package bench

import (
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/guide"
)

// Another lot of the same ink: the pour gets the other can and its lot, and the mix goes on as it was.
func TestAPourCameFromAnotherLot(t *testing.T) {
	s := openCanShop(t)
	first := s.makes(request.MakeCan{Ink: "dial-satin", Lot: "A 17", OpenedOn: "2026-06-01"})
	second := s.makes(request.MakeCan{Ink: "dial-satin", Lot: "B 4", OpenedOn: "2026-06-01"})
	id := s.atStep("hardener")
	ink := s.batch(id).Pours[0].Seq
	if v := s.must(request.CorrectPour{Batch: id, Pour: &ink, Can: first}); len(v.Lots) != 1 || v.Lots[0].Lot != "A 17" {
		t.Fatalf("the ink came from %+v", v.Lots)
	}
	s.pours(72, 87, 3*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
	seq, before := s.batch(id).Pours[0].Seq, s.batch(id)
	v := s.must(request.CorrectPour{Batch: id, Pour: &seq, Can: second})
	if p := v.Pours[0]; p.Can != second || p.Material != "" || *v.Step != *before.Step || !v.MixedAt.Equal(*before.MixedAt) {
		t.Errorf("corrected: %+v at %s, mixed at %v", p, *v.Step, v.MixedAt)
	}
	if len(v.Lots) != 1 || v.Lots[0].Lot != "B 4" || v.Lots[0].Assumed {
		t.Errorf("lots: %+v", v.Lots)
	}
	if _, r := s.ask(request.CorrectPour{Batch: id, Pour: &seq, Can: second}); r == nil || r.Code != guide.NothingToUndo {
		t.Errorf("the same once more: %v", r)
	}
	_, r := s.ask(request.CorrectPour{Batch: id, Pour: &seq, Can: "no-such-can"})
	refused(t, r, request.Invalid, "", "no-such-can")
	s.must(request.ConfirmStep{Batch: id, Step: "stir-hardener"})
}

// What the mix's ink does not go with contaminates the mix: nothing is confirmed until somebody says why it is used,
// and the light of its press says not to print.
func TestAPourOfAnotherRecipeContaminates(t *testing.T) {
	s := openCanShop(t)
	other := s.makes(request.MakeCan{Ink: "dial-flat", Lot: "F 1", OpenedOn: "2026-06-01"})
	id := s.atStep("hardener")
	seq := s.batch(id).Pours[0].Seq
	v := s.must(request.CorrectPour{Batch: id, Pour: &seq, Can: other})
	if p := v.Pours[0]; p.Material != "dial-flat" || p.Part != "ink" || p.Kept || len(v.Warnings) == 0 {
		t.Fatalf("corrected: %+v, warnings %q", p, v.Warnings)
	}
	if len(v.Lots) != 1 || v.Lots[0].Material != "dial-flat" || v.Lots[0].Lot != "F 1" {
		t.Errorf("lots: %+v", v.Lots)
	}
	s.pours(72, 87, 3*time.Second)
	_, r := s.ask(request.ConfirmStep{Batch: id, Step: "hardener"})
	refused(t, r, request.NotNow, guide.Contaminated, "dial-flat")
	// The hardener was another one, too, of which no can is registered.
	v = s.must(request.CorrectPour{Batch: id, NotTaken: true, Part: "hardener", Material: "hardener-b"})
	if p := v.Pours[1]; p.Material != "hardener-b" || p.Kept {
		t.Errorf("named: %+v", p)
	}
	_, r = s.ask(request.ConfirmStep{Batch: id, Step: "stir-hardener"})
	refused(t, r, request.NotNow, guide.Contaminated)
	v = s.must(request.CorrectPour{Batch: id, Override: "tried before"})
	if !v.Pours[0].Kept || !v.Pours[1].Kept || *v.Step != guide.StirHardener {
		t.Errorf("used: %+v at %s", v.Pours, *v.Step)
	}
	v = s.must(request.ConfirmStep{Batch: id, Step: "stir-hardener"})
	if v.Quality != "bad" || v.Why != "Another hardener is in it: how long it lasts is not known." {
		t.Errorf("with another hardener: %s, %s", v.Quality, v.Why)
	}
	if _, r := s.ask(request.CorrectPour{Batch: id, Override: "once more"}); r == nil {
		t.Error("used twice")
	}
	_, r = s.ask(request.CorrectPour{Batch: id, Pour: &seq, Material: "no-such-ink"})
	refused(t, r, request.Invalid, "", "no-such-ink")
	// It was the right ink after all.
	v = s.must(request.CorrectPour{Batch: id, Pour: &seq, Material: "dial-satin"})
	if v.Pours[0].Material != "" {
		t.Errorf("right after all: %+v", v.Pours[0])
	}
}
