package bench

import (
	"strings"
	"testing"

	"potlifed/daemon/request"
)

func TestWhatAMixComesTo(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	r, err := s.b.Recipe(request.StartMix{Ink: "dial-satin", Press: "press-1"})
	if err != nil {
		t.Fatal(err)
	}
	// 60 g at 4:1 on a scale of 0.1 g: u of each mass 0.1/√12·√2 g, expanded 0.56 %
	// (JCGM 100, F.2.2.1).
	if !near(r.TargetsG.Ink, 60) || !near(r.TargetsG.Hardener, 15) || r.Grade != "fine" || r.RatioPct < 0.55 || r.RatioPct > 0.57 {
		t.Errorf("%+v", r)
	}
	if len(r.Why) != 3 || !strings.Contains(r.Why[0], "the least for cup-90") || !strings.Contains(r.Why[2], "dark colours start") {
		t.Errorf("why: %q", r.Why)
	}
	g, pct := 3.0, 12.0
	r, err = s.b.Recipe(request.StartMix{Ink: "dial-flat", Press: "press-1", InkG: &g, ThinnerPct: &pct})
	if err != nil || r.Grade != "coarse" || r.SmallestInkG <= g || !strings.Contains(r.Why[2], "12 % of thinner is what you ask for") {
		t.Errorf("3 g at 10:1: %+v, %v", r, err)
	}
	if _, err := s.b.Recipe(request.StartMix{Ink: "gold"}); err == nil {
		t.Error("an ink that is not there has a recipe")
	}
	// The reason of another share of thinner is kept.
	v := s.must(request.StartMix{Ink: "dial-satin", ThinnerPct: &pct, ThinnerReason: "a cold shop"})
	if v.ThinnerReason != "a cold shop" {
		t.Errorf("the reason is %q", v.ThinnerReason)
	}
}

func TestTheRatioIsSaidHonestly(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	id, _ := s.begins(60)
	r := s.batch(id).Ratio
	if r == nil || !near(r.InkPerHardener, 4) || r.OffPct > 0.01 || r.UncertaintyPct < 0.55 || r.UncertaintyPct > 0.57 {
		t.Errorf("the ratio is %+v", r)
	}
}
