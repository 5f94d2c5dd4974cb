package adhesion_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"potlifed/model/adhesion"
)

// seed is that of the simulated shops, fixed before the first run.
const seed = 20261130

// simulatedShop prints and tests batches of one ink whose nominal life is 8 h. Its centre is as the prior has it, its
// scatters and the visible ends as those of the daemon's inks.
type simulatedShop struct {
	rng                     *rand.Rand
	centre, scatter, visual float64
	tests                   []adhesion.Test
}

const lifeH = 8.0

func newSimulatedShop(number uint64) *simulatedShop {
	rng := rand.New(rand.NewPCG(seed, number))
	scatter := func() float64 { return min(max(0.15*math.Exp(0.4*rng.NormFloat64()), 0.08), 0.30) }
	return &simulatedShop{rng: rng, centre: 0.35 * rng.NormFloat64(), scatter: scatter(), visual: scatter()}
}

// ends draws the ends of a batch in lives.
func (s *simulatedShop) ends() (visible, adheres float64) {
	return math.Exp(s.visual * s.rng.NormFloat64()), math.Exp(s.centre + s.scatter*s.rng.NormFloat64())
}

// test prints a batch at some age while it flows, and tests the print. One in twenty fails for another reason.
func (s *simulatedShop) test(n int) {
	for range n {
		visible, adheres := s.ends()
		age := min(0.4+0.8*s.rng.Float64(), visible)
		s.tests = append(s.tests, adhesion.Test{Seq: uint64(len(s.tests) + 1), Batch: fmt.Sprint(len(s.tests)), AgeH: age * lifeH,
			Passed: age < adheres && s.rng.Float64() >= 0.05})
	}
}

// quantile returns the age in lives at which a batch has ended with a probability, by both ends.
func quantile(end *adhesion.End, visual, p float64) float64 {
	low, high := -3.0, 3.0
	for range 50 {
		ln := (low + high) / 2
		visible := 0.5 * math.Erfc(-ln/visual/math.Sqrt2)
		risk := visible
		if end != nil {
			risk = 1 - (1-visible)*(1-end.Share(ln+math.Log(lifeH)))
		}
		if risk < p {
			low = ln
		} else {
			high = ln
		}
	}
	return math.Exp(low)
}

type counted struct{ n, inside, before int }

func (c counted) String() string {
	return fmt.Sprintf("%5d shops: %.1f %% in the band, %.1f %% before low", c.n, 100*float64(c.inside)/float64(c.n), 100*float64(c.before)/float64(c.n))
}

func (c *counted) add(low, high, end float64) {
	c.n++
	switch {
	case end < low:
		c.before++
	case end <= high:
		c.inside++
	}
}

// With many tests the bands hold what they say. With few, the limit of what one test may do makes them early,
// which is the safe side: fewer end before low.
func TestBandsHoldWhatTheySay(t *testing.T) {
	shops := 150
	if os.Getenv("POTLIFED_LONG") != "" {
		shops = 4000
	}
	for _, row := range []struct {
		tests                     int
		leastInside, leastOfBelow float64
	}{{6, 71, 1}, {12, 71, 0}, {25, 74, 2}, {60, 77, 7}} {
		var with, without counted
		for number := range shops {
			s := newSimulatedShop(uint64(number))
			s.test(row.tests)
			visible, adheres := s.ends()
			e, ok := adhesion.Learn(s.tests, lifeH, "next")
			if !ok {
				continue
			}
			with.add(quantile(&e, s.visual, 0.1), quantile(&e, s.visual, 0.9), min(visible, adheres))
			without.add(quantile(nil, s.visual, 0.1), quantile(nil, s.visual, 0.9), min(visible, adheres))
		}
		t.Logf("%d tests\nwith    %v\nwithout %v", row.tests, with, without)
		share := func(n int) float64 { return 100 * float64(n) / float64(with.n) }
		margin := func(p float64) float64 { return 200 * math.Sqrt(p/100*(1-p/100)/float64(with.n)) } // two standard errors
		if in := share(with.inside); !(in >= row.leastInside-margin(80) && in <= 83+margin(80)) {
			t.Errorf("%d tests: %.1f %% in the band, want %v to 83", row.tests, in, row.leastInside)
		}
		if before := share(with.before); !(before >= row.leastOfBelow-margin(10) && before <= 13+margin(10)) {
			t.Errorf("%d tests: %.1f %% before low, want %v to 13", row.tests, before, row.leastOfBelow)
		}
		if share(without.before) < 30 {
			t.Errorf("%d tests: only %.1f %% end before low by the visible end alone: the shops show nothing", row.tests, share(without.before))
		}
	}
}

// anyTests draws tests of some batches.
func anyTests(t *rapid.T) []adhesion.Test {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) adhesion.Test {
		return adhesion.Test{
			Batch: rapid.SampledFrom([]string{"a", "b", "c", "d", "next"}).Draw(t, "batch"),
			AgeH:  lifeH * rapid.Float64Range(0.01, 6).Draw(t, "age"), Passed: rapid.Bool().Draw(t, "passed"),
		}
	}), 1, 12).Draw(t, "tests")
}

// One passed test, right or wrong, makes the end later by at most 2 %, and one that failed never makes it later.
func TestOneTestDoesNotLengthenALife(outer *testing.T) {
	rapid.Check(outer, func(t *rapid.T) {
		tests := anyTests(t)
		k := rapid.IntRange(0, len(tests)-1).Draw(t, "the one")
		with, ok := adhesion.Learn(tests, lifeH, "next")
		without, known := adhesion.Learn(slices.Delete(slices.Clone(tests), k, k+1), lifeH, "next")
		if !known {
			return // the first that failed is what makes the end known
		}
		if !ok || !with.Valid() {
			t.Fatalf("end %v, %v", with, ok)
		}
		most := 0.0
		if tests[k].Passed {
			most = adhesion.MaxLonger
		}
		for i := range with {
			if with[i] > without[i]+most+1e-9 {
				t.Fatalf("quantile %d: %v with %+v, %v without", i, with[i], tests[k], without[i])
			}
		}
	})
}

// While nothing failed, nothing is known of an earlier end.
func TestPassedTestsAloneChangeNothing(t *testing.T) {
	if _, ok := adhesion.Learn([]adhesion.Test{{Batch: "a", AgeH: 3, Passed: true}, {Batch: "b", AgeH: 9, Passed: true}}, lifeH, "next"); ok {
		t.Error("an end is known of passed tests")
	}
}

// A print that fails while less than a quarter of the life is spent fails for another reason than age.
func TestAnEarlyFailureTellsNothingOfAge(t *testing.T) {
	early := adhesion.Test{Batch: "own", AgeH: 0.2499 * lifeH}
	if _, ok := adhesion.Learn([]adhesion.Test{early, {Batch: "a", AgeH: 0.01}}, lifeH, "own"); ok {
		t.Error("an end is known of prints that failed while the mix was young")
	}
	late := adhesion.Test{Batch: "own", AgeH: 0.9 * lifeH}
	alone, ok := adhesion.Learn([]adhesion.Test{late}, lifeH, "own")
	if both, known := adhesion.Learn([]adhesion.Test{early, late}, lifeH, "own"); !ok || !known || both != alone {
		t.Errorf("end %v with the early one, %v without", both, alone)
	}
	if _, ok := adhesion.Learn([]adhesion.Test{{Batch: "a", AgeH: adhesion.EarlyShare * lifeH}}, lifeH, "own"); !ok {
		t.Error("a print that failed at a quarter of the life tells nothing")
	}
}

// A batch whose own print failed has most probably ended by then, whatever other batches did.
func TestABatchKnowsItsOwnTests(t *testing.T) {
	tests := []adhesion.Test{{Batch: "a", AgeH: 7, Passed: true}, {Batch: "b", AgeH: 7, Passed: true}, {Batch: "own", AgeH: 5, Passed: false}}
	own, _ := adhesion.Learn(tests, lifeH, "own")
	next, _ := adhesion.Learn(tests, lifeH, "next")
	if at := math.Log(5.2); !(own.Share(at) > 0.6 && next.Share(at) < 0.5) {
		t.Errorf("share over at 5 h: own %.2f, another %.2f", own.Share(at), next.Share(at))
	}
}

// The quantiles give back the distribution that they are of.
func TestShareOfQuantiles(t *testing.T) {
	var e adhesion.End
	for k := range e {
		e[k] = 2 + 0.2*adhesion.Deviate(k)
	}
	for _, ln := range []float64{1.2, 1.85, 2, 2.31, 3} {
		if got, want := e.Share(ln), 0.5*math.Erfc(-(ln-2)/0.2/math.Sqrt2); math.Abs(got-want) > 1e-12 {
			t.Errorf("share below %v: %v, want %v", ln, got, want)
		}
		if back := e.Quantile(e.Share(ln)); math.Abs(back-ln) > 1e-9 {
			t.Errorf("%v comes back as %v", ln, back)
		}
	}
}

// Budget: 2 ms for an observation.
func BenchmarkLearn(b *testing.B) {
	s := newSimulatedShop(1)
	s.test(adhesion.MaxTests)
	for b.Loop() {
		adhesion.Learn(s.tests, lifeH, "next")
	}
}
