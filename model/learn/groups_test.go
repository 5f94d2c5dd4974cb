package learn

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// A lot whose batches end early is named within four ends.
func TestAnEarlyLotIsNamedWithinFourEnds(t *testing.T) {
	shops := simulated(t, 200, 25)
	random := rand.New(rand.NewPCG(3, 35))
	for _, c := range []struct{ life, least float64 }{{0.7, 0.9}, {0.6, 0.9}} {
		named := 0
		for range shops {
			w := truthAt(usualInk(t), 0, 0, 0, 0)
			records := ofLots(random, w, map[string]float64{"A": 1, "B": 1, "C": 1}, 12)
			early := w
			early.ink.LRefH *= c.life
			for _, r := range early.untilEnds(random, 4) {
				r.Facts = Facts{InkLot: "D"}
				records = append(records, r)
			}
			for _, d := range fitOf(t, records...).UnusualGroups() {
				if d.By == ByInkLot && d.Group == "D" && d.LifeRatio < 1 {
					named++
				}
			}
		}
		t.Logf("life %.1f: named in %d of %d shops after four ends", c.life, named, shops)
		if float64(named)/float64(shops) < c.least-sampling(c.least, float64(shops)) {
			t.Errorf("a lot that lives %.1f as long is named in %d of %d shops after four ends", c.life, named, shops)
		}
	}
}

// ofLots returns batches of a shop whose ink comes in lots, each with its own factor of the life.
func ofLots(random *rand.Rand, w truth, lots map[string]float64, each int) []Record {
	var records []Record
	for k := range each {
		for _, lot := range []string{"A", "B", "C"} {
			factor, there := lots[lot]
			if !there {
				continue
			}
			own := w
			own.ink.LRefH *= factor
			r := own.batch(random)
			r.ID = fmt.Sprintf("%s%d", lot, k)
			r.Facts = Facts{InkLot: lot, Press: fmt.Sprintf("press-%d", k%2), ClosedBy: "bo"}
			records = append(records, r)
		}
	}
	return records
}

// Two kinds of ink under one name: the scatter is said, and the lots that make it are named.
func TestTwoInksUnderOneNameAreNoticed(t *testing.T) {
	w := truthAt(usualInk(t), 0, 0, 0, 0)
	r := fitOf(t, ofLots(rand.New(rand.NewPCG(3, 30)), w, map[string]float64{"A": 1, "B": 0.45}, 25)...)
	if r.Sigma.Value < scattersFrom {
		t.Fatalf("sigma %v: then this test shows nothing", r.Sigma.Value)
	}
	all := strings.Join(r.Cautions(), " ")
	if !strings.Contains(all, "two kinds of ink") || !strings.Contains(all, "ink-lot B") {
		t.Error(all)
	}
	if d := r.Differences[0]; d.By != ByInkLot || !d.Unusual || d.Batches != 25 {
		t.Errorf("%+v", r.Differences)
	}
	for _, d := range r.Differences {
		if d.By == ByPress && d.Unusual || d.By == ByClosedBy {
			t.Errorf("%+v", d)
		}
	}
}

// The same batches without any group: the scatter is still said.
func TestScatterWithoutGroupsIsSaid(t *testing.T) {
	w := truthAt(usualInk(t), 0, 0, 0, 0)
	w.sigma = 0.32
	r := fitOf(t, w.untilEnds(rand.New(rand.NewPCG(3, 31)), 40)...)
	if all := strings.Join(r.Cautions(), " "); !strings.Contains(all, "two kinds of ink") || !strings.Contains(all, "stands out") {
		t.Errorf("sigma %v: %s", r.Sigma.Value, all)
	}
	w.sigma = 0.15
	r = fitOf(t, w.untilEnds(rand.New(rand.NewPCG(3, 32)), 40)...)
	if all := strings.Join(r.Cautions(), " "); strings.Contains(all, "two kinds of ink") {
		t.Errorf("sigma %v: %s", r.Sigma.Value, all)
	}
}

// Chance seldom makes a group unusual: in one shop of twenty for all its groups together.
func TestGroupsByChanceAreSeldomUnusual(t *testing.T) {
	shops := simulated(t, 200, 50)
	random := rand.New(rand.NewPCG(3, 33))
	named := 0
	for range shops {
		w := truthAt(usualInk(t), 0, 0, 0, 0)
		r := fitOf(t, ofLots(random, w, map[string]float64{"A": 1, "B": 1, "C": 1}, 8)...)
		if len(r.UnusualGroups()) > 0 {
			named++
		}
	}
	// Three standard errors of a share of 5 % above it.
	if most := unusualAt + 3*math.Sqrt(unusualAt*(1-unusualAt)/float64(shops)); float64(named) > most*float64(shops) {
		t.Errorf("in %d of %d shops without any difference a group is unusual", named, shops)
	}
}

// An end that was written down late is not taken as exact, except in a plain fit.
func TestANotedEndIsAnInterval(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 34))
	w := truthAt(usualInk(t), -2, 0, 0, 0)
	var noted, exact []Record
	for range 60 {
		a := shopAir(random)
		end := w.life(a) * math.Exp(w.sigma*random.NormFloat64())
		late := end + lookInterval.Hours()*random.Float64()
		r := Record{Kind: Ended, To: steady(a.TemperatureC, a.HumidityPct, late)}
		exact = append(exact, r)
		r.From, r.Noted = steady(a.TemperatureC, a.HumidityPct, max(late-lookInterval.Hours(), 0)), true
		noted = append(noted, r)
	}
	near(t, "life ratio of ends that were noted late", fitOf(t, noted...).LifeRatio.Value, math.Exp(-0.2), 0.03)
	if r := fitOf(t, exact...).LifeRatio.Value; r < 0.86 {
		t.Errorf("taken as exact they give %v: then this test shows nothing", r)
	}
	plain := fitOne(Pair{Sheet: usualInk(t), Records: noted}, PriorNone())
	near(t, "plain fit", plain.LRefH.Value, fitOne(Pair{Sheet: usualInk(t), Records: exact}, PriorNone()).LRefH.Value, 1e-9)
}

// Budget: 5 s on a Pi, with the comparison of every lot and of hardener, press, weekday and person.
func BenchmarkFit1000BatchesOf50Lots(b *testing.B) {
	ink := usualInk(b)
	random := rand.New(rand.NewPCG(3, 36))
	records := truthAt(ink, -1, 0, 0, 0).batches(random, 1000)
	for i := range records {
		n := func(most int) string { return fmt.Sprint(random.IntN(most)) }
		records[i].Facts = Facts{InkLot: n(50), HardenerLot: n(50), Press: n(8), Weekday: n(6), ClosedBy: n(6)}
	}
	for b.Loop() {
		if r := fitOne(Pair{Sheet: ink, Records: records}); r.Fault != "" {
			b.Fatal(r.Fault)
		}
	}
}
