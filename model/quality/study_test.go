package quality

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// analysed studies a simulated shop.
func analysed(t *testing.T, s simulated, o Options) Study {
	t.Helper()
	study, err := Analyse(t.Context(), s.draw(source(30, 1)), o)
	if err != nil {
		t.Fatal(err)
	}
	return study
}

var usual = Options{Relevant: UsualRelevant, Weeks: 10}

func TestVerdicts(t *testing.T) {
	shop := clusteredShop()
	shop.days, shop.batchesADay, shop.cells = 70, 4, 6
	shop.rates, shop.effects = []float64{0.004, 0.004}, []float64{0.2, 0}
	s := analysed(t, shop, usual)
	if s.Verdict != MoreDefects || !slices.Contains(s.Kinds, "kind 0") || slices.Contains(s.Kinds, "kind 1") {
		t.Errorf("an effect on kind 0: %s %q", s.Verdict, s.Kinds)
	}
	if s.Threshold.Kind != "" || s.Threshold.Told || !(s.Threshold.RelevantInterval.Low < s.Threshold.RelevantAt) {
		t.Errorf("the rate rises throughout: %+v", s.Threshold)
	}
	if s.Clustering != ByDay || s.Clusters != 70 || s.Batches != 280 {
		t.Errorf("clusters: %s %d, batches %d", s.Clustering, s.Clusters, s.Batches)
	}
	e, ok := effectOn(s, VapourDensity, "kind 0")
	if truth := math.Exp(0.2); !ok || !holds(e.Interval, truth) || !e.Found || e.Q < e.P {
		t.Errorf("the effect of 22 %%: %+v", e)
	}

	shop.effects[0] = -0.2
	if s := analysed(t, shop, usual); s.Verdict != FewerDefects {
		t.Errorf("fewer defects: %s %q", s.Verdict, s.Kinds)
	}

	shop.effects[0], shop.days, shop.prints = 0, 250, 1000
	shop.day, shop.batch, shop.cell = 0.1, 0.1, 0
	if s := analysed(t, shop, usual); s.Verdict != NothingFound {
		e, _ := effectOn(s, VapourDensity, "")
		t.Errorf("no effect and much data: %s, swing %v", s.Verdict, e.SwingInterval)
	}

	shop.days, shop.prints = 12, 100
	s = analysed(t, shop, Options{Relevant: UsualRelevant, Weeks: 2})
	if s.Verdict != NotEnough || !(s.WeeksMore > 1) {
		t.Errorf("little data: %s, %v weeks more", s.Verdict, s.WeeksMore)
	}
}

// With the weeks that the plan says, a relevant effect is found with a chance of about 80 %.
func TestPlannedWeeksFindTheEffect(t *testing.T) {
	n := shops(t, 300, 40)
	shop := plainShop
	shop.day = 0.15
	// Pilot shops without an effect: how long the plan takes on average, and how far the driest
	// and the most humid tenth are apart.
	const pilots = 40
	shop.effects[0] = 0
	weeks, swing := 0.0, 0.0
	for k := range pilots {
		p := prepare(shop.draw(source(40, k)))
		ends := p.quantiles(VapourDensity, 0.1, 0.9)
		weeks += (p.effect(allKinds, VapourDensity, usual).WeeksMore + usual.Weeks) / pilots
		swing += (ends[1] - ends[0]) / pilots
	}
	shop.days = int(math.Round(float64(shop.days) * weeks / usual.Weeks))
	shop.effects = []float64{math.Log(1.25) / swing}
	found := 0
	for k := range n {
		e := prepare(shop.draw(source(41, k))).effect(allKinds, VapourDensity, usual)
		found += count(e.P < 0.05)
	}
	share := float64(found) / float64(n)
	t.Logf("planned %.1f weeks, %d days: found in %.1f %% of %d shops", weeks, shop.days, 100*share, n)
	// An average of plans is not the plan of an average: 10 % of the weeks either way are 4 % of
	// the shops.
	if wide := slack(power, n); share < 0.7-wide || share > 0.9+wide {
		t.Errorf("found in %.1f %%, want about 80 %%", 100*share)
	}
}

// little is data of few cells with a vapour density that rises.
func little(cells int, defects func(i int) float64) Data {
	d := Data{Kinds: []string{"pinholes"}}
	for i := range cells {
		c := Cell{Place: "p", Batch: string(rune('a' + i%20)), Day: string(rune('a' + i%20))}
		c.Conditions = Conditions{VapourDensity: float64(i), RelativeHumidity: 50, Temperature: math.NaN(), SpentLife: math.NaN(), Thinner: math.NaN(), RatioError: math.NaN()}
		c.Prints.Prints, c.Defects = 100, []float64{defects(i)}
		d.Cells = append(d.Cells, c)
	}
	return d
}

func TestReasons(t *testing.T) {
	study := func(d Data) Study {
		s, err := Analyse(t.Context(), d, usual)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	reason := func(s Study, f Factor) Reason {
		e, _ := effectOn(s, f, "")
		return e.Reason
	}
	s := study(little(60, func(i int) float64 { return float64(i % 3) }))
	if r := reason(s, VapourDensity); r != "" {
		t.Errorf("enough: %s", r)
	}
	if r := reason(s, RelativeHumidity); r != NoChange {
		t.Errorf("a humidity that is constant: %s", r)
	}
	if r := reason(s, Temperature); r != NoPrints {
		t.Errorf("no temperature known: %s", r)
	}
	if s = study(little(60, func(int) float64 { return 0 })); reason(s, VapourDensity) != NoDefects || s.Verdict != NotEnough || !math.IsNaN(s.WeeksMore) {
		t.Errorf("no defects: %s %v", reason(s, VapourDensity), s.WeeksMore)
	}
	if s = study(little(60, func(i int) float64 { return float64(count(i%20 == 0)) })); reason(s, VapourDensity) != FewDefects || !(s.WeeksMore > 0) {
		t.Errorf("three defects: %s %v", reason(s, VapourDensity), s.WeeksMore)
	}
	if s = study(Data{Kinds: []string{"pinholes"}}); s.Verdict != NotEnough || len(s.Totals) != 0 {
		t.Errorf("nothing: %+v", s)
	}
	unexposed := little(60, func(i int) float64 { return 1 })
	unexposed.Cells[3].Prints.Prints = 0
	if s = study(unexposed); s.Unexposed != 1 || s.Defects != 59 {
		t.Errorf("a defect without prints: %v, others %v", s.Unexposed, s.Defects)
	}
	// With as many coefficients as cells nothing tells how much the rates scatter.
	for cells, want := range map[int]Reason{2: FewPrints, 3: ""} {
		s = study(little(cells, func(i int) float64 { return float64(10 + i%2) }))
		if r := reason(s, VapourDensity); r != want {
			t.Errorf("%d cells: %q, want %q", cells, r, want)
		}
	}
	// The temperature goes with the vapour density to the digit: it cannot be adjusted for.
	tied := little(60, func(i int) float64 { return float64(i % 3) })
	for i := range tied.Cells {
		tied.Cells[i].Conditions[Temperature] = 10 + tied.Cells[i].Conditions[VapourDensity]/2
	}
	s = study(tied)
	if e, _ := effectOn(s, VapourDensity, ""); e.Reason != "" || e.AdjustedFor != nil || !slices.Equal(e.Together, []Factor{Temperature}) {
		t.Errorf("tied to the temperature: %+v", e)
	}
	// Nearly tied is the same; with a correlation of 0.87 they are told apart.
	for spread, together := range map[float64]int{0.05: 1, 0.5: 0} {
		for i := range tied.Cells {
			x := tied.Cells[i].Conditions[VapourDensity]
			tied.Cells[i].Conditions[Temperature] = 10 + x/2 + spread*10*math.Cos(2.3*x)*math.Sqrt2
		}
		s = study(tied)
		if e, _ := effectOn(s, VapourDensity, ""); e.Reason != "" || len(e.Together) != together || len(e.AdjustedFor) != 1-together {
			t.Errorf("nearly tied, %v: %+v", spread, e)
		}
	}
	// At one temperature the relative humidity is the vapour density in another unit: neither is adjusted for
	// the other, and each is named with the other. Where they differ they are not.
	for _, c := range []struct {
		scatter float64
		with    bool
	}{{0, true}, {100, false}} {
		for i := range tied.Cells {
			x := tied.Cells[i].Conditions[VapourDensity]
			tied.Cells[i].Conditions[RelativeHumidity] = 5*x + c.scatter*math.Cos(2.3*x)
		}
		s = study(tied)
		for f, twin := range map[Factor]Factor{VapourDensity: RelativeHumidity, RelativeHumidity: VapourDensity} {
			if e, _ := effectOn(s, f, ""); e.Reason != "" || slices.Contains(e.Together, twin) != c.with || slices.Contains(e.AdjustedFor, twin) {
				t.Errorf("%v beside its twin, scatter %v: %+v", f, c.scatter, e)
			}
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Analyse(ctx, tied, usual); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestClustering(t *testing.T) {
	few := little(60, func(i int) float64 { return float64(i % 3) })
	for i := range few.Cells {
		few.Cells[i].Day = string(rune('a' + i/20))
	}
	// Batches a to t are on all three days: they belong to the first.
	if p := prepare(few); p.clustering != ByBatch || p.days != 1 || p.batches != 20 {
		t.Errorf("three days: %s, %d days, %d batches", p.clustering, p.days, p.batches)
	}
	for i := range few.Cells {
		few.Cells[i].Batch = "a"
	}
	if p := prepare(few); p.clustering != NotClustered {
		t.Errorf("one batch: %s", p.clustering)
	}
	if e := prepare(few).effect(allKinds, VapourDensity, usual); e.Method != QuasiLikelihood {
		t.Errorf("one batch: %s", e.Method)
	}
}

// The bins of a curve hold all prints and defects once, and the line passes among them.
func TestCurves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shop := clusteredShop()
		shop.days = rapid.IntRange(1, 30).Draw(t, "days")
		shop.effects = []float64{rapid.Float64Range(-0.2, 0.2).Draw(t, "effect")}
		shop.rates = []float64{rapid.Float64Range(0, 0.02).Draw(t, "rate")}
		p := prepare(shop.draw(source(50, rapid.IntRange(0, 1000).Draw(t, "shop"))))
		for f := range factorCount {
			e := p.effect(allKinds, f, usual)
			c := p.curve(allKinds, f, &e)
			prints, defects := 0.0, 0.0
			for i, b := range c.Bins {
				prints += b.Prints
				defects += b.Defects
				if b.Prints <= 0 || !holds(b.Interval, b.Rate) || i > 0 && c.Bins[i-1].High > b.Low+1e-9 {
					t.Fatalf("%v: bin %+v", f, b)
				}
			}
			if len(c.Bins) > mostBins+1 || math.Abs(prints-e.Prints) > 1e-6 || math.Abs(defects-e.Defects) > 1e-6 {
				t.Fatalf("%v: %d bins with %v prints and %v defects, want %v and %v", f, len(c.Bins), prints, defects, e.Prints, e.Defects)
			}
			for _, point := range c.Line {
				if !holds(point.Interval, point.Rate) || !(point.Rate > 0) {
					t.Fatalf("%v: %+v", f, point)
				}
			}
		}
	})
}

func TestGrid(t *testing.T) {
	for _, c := range []struct{ low, high, start, width float64 }{
		{4.2, 17.9, 4, 2}, {4.2, 9.9, 4, 1}, {0, 1, 0, 0.2}, {0.03, 0.95, 0, 0.1}, {38, 61, 35, 5}, {20, 20.04, 20, 0.005},
	} {
		start, width := grid(c.low, c.high)
		near(t, "start", start, c.start, 1e-9)
		near(t, "width", width, c.width, 1e-9)
	}
}

// effectOn returns the effect of a factor on a kind; false when there is none.
func effectOn(s Study, f Factor, kind string) (Effect, bool) {
	for _, e := range s.Effects {
		if e.Factor == f && e.Kind == kind {
			return e, true
		}
	}
	return Effect{}, false
}
