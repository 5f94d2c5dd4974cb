package quality

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

var long = os.Getenv("POTLIFED_LONG") != ""

// shops returns how many shops are simulated: all with POTLIFED_LONG=1, else few, and says so.
// Under -short the test is skipped.
func shops(t *testing.T, all, few int) int {
	t.Helper()
	switch {
	case testing.Short():
		t.Skip("statistics over simulated shops; run without -short")
	case long:
		return all
	}
	t.Logf("statistics over %d simulated shops instead of %d; set POTLIFED_LONG=1 for all", few, all)
	return few
}

// slack widens the bounds of a share for a short run by three standard errors; with
// POTLIFED_LONG=1 it is 0.
func slack(share float64, n int) float64 {
	if long {
		return 0
	}
	return 3 * math.Sqrt(share*(1-share)/float64(n))
}

// source returns the random numbers of a shop. The numbers of both were fixed before the first run.
func source(scenario, shop int) *rand.Rand {
	return rand.New(rand.NewPCG(uint64(20260612+scenario), uint64(shop)))
}

// plainShop has 50 days of two batches. Its prints scatter by chance alone.
var plainShop = simulated{days: 50, batchesADay: 2, cells: 6, prints: 300, rates: []float64{0.004}, effects: []float64{0.12}}

// clusteredShop is one whose days, batches and quarters of an hour differ.
func clusteredShop() simulated {
	s := plainShop
	s.day, s.batch, s.cell = 0.3, 0.4, 0.3
	return s
}

// coverage counts how often intervals contain the true effect.
type coverage struct {
	held  int
	width float64
}

func (c *coverage) add(i Interval, truth float64) {
	c.held += count(holds(i, truth))
	c.width += i.High - i.Low
}

// Intervals of 95 % hold the true effect in 94 to 96 % of the shops, and in 93 to 97 % where
// prints of a day and a batch depend on one another. Those of a regression that takes each row
// as independent do not.
func TestIntervalsHold(t *testing.T) {
	n := shops(t, 2000, 200)
	var table strings.Builder
	for scenario, c := range []struct {
		name      string
		shop      simulated
		low, high float64
		naiveMost float64 // of the naive intervals
	}{
		{"plain", plainShop, 0.94, 0.96, 1},
		{"clustered and over-dispersed", clusteredShop(), 0.93, 0.97, 0.75},
	} {
		var study, quasi, sandwich, naive coverage
		truth := c.shop.effects[0]
		for shop := range n {
			p := prepare(c.shop.draw(source(scenario, shop)))
			e := p.effect(allKinds, VapourDensity, Options{Relevant: UsualRelevant})
			if e.Reason != "" {
				t.Fatalf("shop %d: %s", shop, e.Reason)
			}
			study.add(Interval{math.Log(e.Interval.Low), math.Log(e.Interval.High)}, truth)
			fit, err := p.model(Poisson, allKinds, []string{"vapour", "temperature"}, func(c *Cell, row []float64) []float64 {
				return append(row, c.Conditions[VapourDensity], c.Conditions[Temperature])
			}).Fit()
			if err != nil {
				t.Fatal(err)
			}
			naive.add(fit.errors(ByModel, fit.covariance, 1, math.Inf(1)).interval(0, Level), truth)
			quasi.add(fit.Quasi().interval(0, Level), truth)
			sandwich.add(fit.Sandwich().interval(0, Level), truth)
		}
		for _, row := range []struct {
			name string
			c    coverage
		}{{"study (bias-reduced clusters)", study}, {"cluster sandwich", sandwich}, {"quasi-likelihood", quasi}, {"naive (each row independent)", naive}} {
			fmt.Fprintf(&table, "\n%-30s %-30s held %5.1f %%, mean width %.4f", c.name, row.name, 100*float64(row.c.held)/float64(n), row.c.width/float64(n))
		}
		held, wide := float64(study.held)/float64(n), slack(0.95, n)
		if held < c.low-wide || held > c.high+wide {
			t.Errorf("%s: intervals held in %.2f %% of %d shops, want %.0f to %.0f %%", c.name, 100*held, n, 100*c.low, 100*c.high)
		}
		if naive := float64(naive.held) / float64(n); naive > c.naiveMost {
			t.Errorf("%s: naive intervals held in %.2f %%: the case does not show why clusters matter", c.name, 100*naive)
		}
	}
	t.Log(table.String())
}

// Of what is called found, at most 5 % is false, in shops where two of eight kinds go with the
// humidity; where none does, something is found in at most 5 % of the shops.
func TestFalseDiscoveriesAreAsPromised(t *testing.T) {
	n := shops(t, 2000, 60)
	shop := clusteredShop()
	shop.rates = []float64{0.003, 0.002, 0.002, 0.002, 0.001, 0.001, 0.001, 0.001}
	var table strings.Builder
	for scenario, c := range []struct {
		name    string
		effects []float64
	}{
		{"two of eight kinds", []float64{0.2, 0.2, 0, 0, 0, 0, 0, 0}},
		{"none", make([]float64, 8)},
	} {
		shop.effects = c.effects
		falsely, naively, missed := 0.0, 0.0, 0
		for k := range n {
			p := prepare(shop.draw(source(10+scenario, k)))
			var effects, naive []Effect
			for kind := allKinds; kind < len(p.Kinds); kind++ {
				e := p.effect(kind, VapourDensity, Options{Relevant: UsualRelevant})
				effects = append(effects, e)
				e.Found = twoSidedP(e.perUnit*math.Sqrt(e.DesignEffect)/e.se, math.Inf(1)) < discovery
				naive = append(naive, e)
			}
			correct(effects)
			wrong := func(list []Effect) (share float64) {
				found, false := 0, 0
				for i, e := range list {
					real := i == 0 && c.effects[0] != 0 || i > 0 && c.effects[i-1] != 0
					found += count(e.Found)
					false += count(e.Found && !real)
				}
				return float64(false) / float64(max(1, found))
			}
			falsely += wrong(effects) / float64(n)
			naively += wrong(naive) / float64(n)
			missed += count(c.effects[0] != 0 && !effects[1].Found)
		}
		fmt.Fprintf(&table, "\n%-20s false among what was found: study %.1f %%, naive and not corrected %.1f %%; the strongest kind missed in %.1f %%",
			c.name, 100*falsely, 100*naively, 100*float64(missed)/float64(n))
		if falsely > discovery+slack(discovery, n) {
			t.Errorf("%s: %.2f %% of what was found is false", c.name, 100*falsely)
		}
		if naively < 2*discovery {
			t.Errorf("%s: %.2f %% of what the naive way finds is false: the case does not show why", c.name, 100*naively)
		}
	}
	t.Log(table.String())
}

// The interval of a threshold holds it, and where there is none it is rarely told.
func TestThresholdsHold(t *testing.T) {
	n := shops(t, 300, 20)
	held, told, falsely := 0, 0, 0
	for k := range n {
		shop := clusteredShop()
		shop.rates, shop.effects, shop.threshold = []float64{0.006}, []float64{0.3}, 10
		broken := prepare(shop.draw(source(20, k))).threshold(allKinds, Options{Relevant: UsualRelevant})
		held += count(holds(broken.Interval, shop.threshold))
		told += count(broken.Told)
		shop.threshold, shop.effects[0] = 0, 0.15
		falsely += count(prepare(shop.draw(source(21, k))).threshold(allKinds, Options{Relevant: UsualRelevant}).Told)
	}
	share := func(k int) float64 { return float64(k) / float64(n) }
	t.Logf("the threshold's interval held in %.1f %%, it was told in %.1f %%; told where there is none: %.1f %%", 100*share(held), 100*share(told), 100*share(falsely))
	if share(held) < 0.92-slack(0.92, n) {
		t.Errorf("the threshold's interval held in %.1f %%", 100*share(held))
	}
	if share(falsely) > 0.06+slack(0.06, n) {
		t.Errorf("a threshold was told in %.1f %% of the shops without one", 100*share(falsely))
	}
	if share(told) < 0.5 {
		t.Errorf("a threshold was told in %.1f %% of the shops that have one", 100*share(told))
	}
}
