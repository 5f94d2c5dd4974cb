package learn

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// seedLots was fixed before the first run.
const seedLots = 20261130

// shopOfLots is a shop whose batches come from lots of ink, some of which have few ends yet.
type shopOfLots struct {
	truth  truth   // with the scatter inside a lot
	spread float64 // of ln life between lots
	effect map[string]float64
}

// of draws the effect of a lot the first time that it is used.
func (s *shopOfLots) of(random *rand.Rand, lot string) truth {
	effect, known := s.effect[lot]
	if !known {
		effect = s.spread * random.NormFloat64()
		s.effect[lot] = effect
	}
	own := s.truth
	own.ink.LRefH *= math.Exp(effect)
	return own
}

// lotCase is a share of the scatter that is the lots', and how many ends the present lot has.
type lotCase struct {
	share float64
	seen  int
}

// bands lets shops learn from ten lots of five ends and a present lot with fewer, and asks for the bands
// of the present lot's next batches: by its effect, and without.
func (c lotCase) bands(t *testing.T, number, shops int) (with, without score, spread float64) {
	sheet := usualInk(t)
	for shop := range shops {
		random := rand.New(rand.NewPCG(seedLots, uint64(number*1_000_000+shop)))
		w := drawTruth(random, sheet)
		s := shopOfLots{truth: w, spread: w.sigma * math.Sqrt(c.share), effect: map[string]float64{}}
		s.truth.sigma = w.sigma * math.Sqrt(1-c.share)
		var records []Record
		mix := func(lot string, ends int) {
			for _, r := range s.of(random, lot).untilEnds(random, ends) {
				r.Facts = Facts{InkLot: lot, HardenerLot: fmt.Sprint("H", random.IntN(4))}
				records = append(records, r)
			}
		}
		for lot := range 10 {
			mix(fmt.Sprint("L", lot), 5)
		}
		mix("now", c.seen)
		r := fitOne(Pair{Sheet: sheet, Records: records})
		if r.Fault != "" {
			t.Fatal(r.Fault)
		}
		spread += r.Lots.InkLnSpread / s.truth.sigma / float64(shops)
		next, ink := s.of(random, "now"), r.Lots.Of(r.Posterior, "now", "H1")
		for range 4 {
			a := shopAir(random)
			own, plain := bandOf(ink, a), bandOf(r.Posterior, a)
			for range 2 {
				end := next.life(a) * math.Exp(next.sigma*random.NormFloat64())
				with.add(own, end, next.life(a))
				without.add(plain, end, next.life(a))
			}
		}
	}
	return with, without, spread
}

// Where half of the scatter is the lots', the bands of a lot with ends are narrower and hold as much;
// where lots do not differ they are as they were.
func TestBandsOfALot(t *testing.T) {
	t.Parallel() // it computes for long with all simulations
	shops := simulated(t, 120, 8)
	var all score
	for number, c := range []lotCase{{0.5, 0}, {0.5, 1}, {0.5, 4}, {0.5, 12}, {0.25, 4}, {0, 4}} {
		if !long && c.seen != 4 {
			continue
		}
		with, without, spread := c.bands(t, number, shops)
		t.Logf("lots' share %.2f, %2d ends of the lot: in, before low, width, pinball  without %s  with %s  (%+.0f %% width, found spread/within %.2f)",
			c.share, c.seen, without, with, 100*(with.width/without.width-1), spread)
		// The batches of a shop share one lot: each shop counts as two, and a row misses the true share
		// by two standard errors now and then.
		margin := func(p float64) float64 { return 200 * math.Sqrt(p*(1-p)/float64(2*shops)) }
		if share, m := 100*with.in/with.n, margin(0.8); math.Abs(share-80) > 3+m {
			t.Errorf("share %v, %d ends: the band holds %.1f %%, want 77 to 83 ± %.1f", c.share, c.seen, share, m)
		}
		if share, m := 100*with.early/with.n, margin(0.1); math.Abs(share-10) > 3+m {
			t.Errorf("share %v, %d ends: %.1f %% end before low, want 7 to 13 ± %.1f", c.share, c.seen, share, m)
		}
		all.n, all.in, all.early = all.n+with.n, all.in+with.in, all.early+with.early
		if c.share >= 0.5 && c.seen >= 4 && !(with.pinball < without.pinball && with.width < 0.95*without.width) {
			t.Errorf("share %v, %d ends: width %v and loss %v, without the lot %v and %v", c.share, c.seen, with.width, with.pinball, without.width, without.pinball)
		}
	}
	if in, early := 100*all.in/all.n, 100*all.early/all.n; long && !(in >= 77 && in <= 83 && early >= 7 && early <= 13) {
		t.Errorf("all cases: the band holds %.1f %%, %.1f %% end before low, want 77 to 83 and 7 to 13", in, early)
	}
}

// Batches of which no lot is known, and those of as many lots as batches, are fitted as ever.
func TestNoLotsChangeNothing(t *testing.T) {
	random := rand.New(rand.NewPCG(seedLots, 1))
	records := truthAt(usualInk(t), -1, 0, 0, 0).batches(random, 30)
	plain := fitOf(t, records...)
	for i := range records {
		records[i].Facts = Facts{InkLot: fmt.Sprint(i), HardenerLot: "one"}
	}
	each := fitOf(t, records...)
	if each.Lots.Within != 0 || each.Posterior != plain.Posterior {
		t.Errorf("lots %+v, posterior %+v, without lots %+v", each.Lots, each.Posterior, plain.Posterior)
	}
	if got := each.Lots.Of(each.Posterior, "3", "one"); got != each.Posterior {
		t.Errorf("%+v", got)
	}
}

// A lot that was never seen has the ink's own life, and all of the scatter.
func TestALotThatIsNew(t *testing.T) {
	ink := usualInk(t)
	lots := Lots{InkLnSpread: 0.12, Within: 0.1, Known: []Lot{{By: ByInkLot, Lot: "A", LifeRatio: 0.8, LnSE: 0.05, WithLife: -0.001}}}
	fresh, early := lots.Of(ink, "B", ""), lots.Of(ink, "A", "")
	near(t, "sigma of a new lot", fresh.Sigma, math.Hypot(0.12, 0.1), 1e-12)
	near(t, "sigma of a known lot", early.Sigma, 0.1, 1e-12)
	near(t, "the lots' part of a new lot", fresh.LotLnSpread, 0.12, 1e-12)
	near(t, "the lots' part of a known lot", early.LotLnSpread, 0, 0)
	near(t, "life of a known lot", early.LRefH, 0.8*ink.LRefH, 1e-12)
	near(t, "spread of its life", early.LifeLnSpread, math.Sqrt(ink.LifeLnSpread*ink.LifeLnSpread+0.0025-0.002), 1e-12)
	if fresh.LRefH != ink.LRefH || fresh.LifeLnSpread != ink.LifeLnSpread || (Lots{}).Of(ink, "A", "") != ink || lots.Of(ink, "", "A").LRefH != ink.LRefH {
		t.Error("a lot of which nothing is known changes the life")
	}
	if damaged := (Lots{Within: 0.1, Known: []Lot{{By: ByInkLot, Lot: "A", LifeRatio: math.NaN()}}}).Of(ink, "A", ""); damaged != ink || damaged.Valid() != nil {
		t.Errorf("%+v", damaged)
	}
}
