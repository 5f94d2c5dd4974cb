package bench

import (
	"math"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/words"
	"potlifed/model/mix"
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
	if err != nil || r.Grade != "coarse" || r.SmallestInkG <= g || !strings.Contains(plainly(r.Why[2]), "12 % of thinner is what you ask for") {
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

// TestWhyIsInTheShopsLanguage: every sentence about a recipe and about an ink comes from the
// catalogue, for all colours and artworks.
func TestWhyIsInTheShopsLanguage(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.b.shop.locale.Language = words.Pseudo(words.English())
	fifty, eighty, ten := 50.0, 80.0, 10.0
	for _, c := range []request.StartMix{
		{}, {InkG: &fifty}, {InkG: &eighty}, {ColourClass: "heavy-light"}, {ColourClass: "light", Artwork: "fine-detail"}, {Artwork: "large-solid"}, {ThinnerPct: &ten},
	} {
		c.Ink = "dial-satin"
		r, err := s.b.Recipe(c)
		if err != nil || len(r.Why) != 3 {
			t.Fatal(r.Why, err)
		}
		for _, text := range r.Why {
			if !strings.HasPrefix(text, "[") || !strings.HasSuffix(text, "]") {
				t.Errorf("%+v: %q is in another language", c, text)
			}
		}
	}
	s.goes(time.Second, both(mild))
	if a := s.b.Snapshot().Inks[0].Assumed; !strings.HasPrefix(a, "[") {
		t.Errorf("assumed: %q", a)
	}
	l := s.b.shop.locale
	if text := l.StillAssumed([]string{"life", "humidity share", "activation energy", "batch-to-batch spread"}); strings.Count(text, "[") != 5 {
		t.Errorf("still assumed: %q", text)
	}
}

func TestTheRatioIsSaidHonestly(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	id, _ := s.begins(60)
	r := s.batch(id).Ratio
	if r == nil || !near(r.InkPerHardener, 4) || r.TolerancePct != 5 || r.OffPct > 0.01 || r.UncertaintyPct < 0.55 || r.UncertaintyPct > 0.57 {
		t.Errorf("the ratio is %+v", r)
	}
}

// twoCups is the shop of the tests with a smaller kind of cup, which is covered.
var twoCups = strings.Replace(testShop, "cups:\n", "cups:\n  - {id: cup-60, ink_minimum_g: 30, fill_maximum_g: 60, exposure: 0.5}\n", 1)

// The recipe says how long a mix would live if it began now, as the forecast of a batch that
// does begin now says.
func TestHowLongAMixWouldLive(t *testing.T) {
	oneGoroutine(t)
	s := openShopOf(t, t.TempDir(), newClock(), twoCups)
	if r, err := s.b.Recipe(request.StartMix{Ink: "dial-satin"}); err != nil || r.Life != nil || r.LifeUnknown == "" {
		t.Errorf("before the first reading: %+v, %q, %v", r.Life, r.LifeUnknown, err)
	}
	s.pass(30*time.Minute, both(humid))
	r, err := s.b.Recipe(request.StartMix{Ink: "dial-satin"})
	if err != nil || r.Life == nil || r.LifeUnknown != "" || r.Life.Zone != "bench" {
		t.Fatalf("%+v, %q, %v", r.Life, r.LifeUnknown, err)
	}
	v := s.must(request.RecordMix{
		Ink: "dial-satin", MixedAt: s.b.clock.now(),
		Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}, {Part: "thinner", G: 7.5}},
	})
	for what, pair := range map[string][2]time.Time{
		"low": {r.Life.EndsAt.Low, v.EndsAt.Low}, "expected": {r.Life.EndsAt.Expected, v.EndsAt.Expected}, "high": {r.Life.EndsAt.High, v.EndsAt.High},
	} {
		if off := pair[0].Sub(pair[1]); off.Abs() > time.Minute {
			t.Errorf("%s: the recipe says %v, a batch that begins ends at %v", what, pair[0], pair[1])
		}
	}
	if lasts := r.Life.EndsAt.Expected.Sub(r.Life.From).Seconds(); math.Abs(lasts-r.Life.LastsS.Expected) > 1 {
		t.Errorf("it lasts %v s, and %v s from now to its end", r.Life.LastsS.Expected, lasts)
	}
	// On a press it stands in its own kind of cup. The smaller one is covered.
	r, err = s.b.Recipe(request.StartMix{Ink: "dial-satin", Press: "press-2"})
	if err != nil || r.Life == nil || r.Life.Zone != "hall" || r.SmallerCup == nil || r.SmallerCup.Cup != "cup-60" || r.SmallerCup.InkG != 30 || r.SmallerCup.TotalG >= r.TotalG {
		t.Fatalf("%+v, %+v, %v", r.Life, r.SmallerCup, err)
	}
	if r.SmallerCup.Life.LastsS.Expected <= r.Life.LastsS.Expected {
		t.Errorf("covered it lasts %v s, open %v s", r.SmallerCup.Life.LastsS.Expected, r.Life.LastsS.Expected)
	}
	s.pass(20*time.Minute, nil)
	if r, err := s.b.Recipe(request.StartMix{Ink: "dial-satin"}); err != nil || r.Life != nil || r.LifeUnknown == "" {
		t.Errorf("with silent sensors: %+v, %q, %v", r.Life, r.LifeUnknown, err)
	}
}
