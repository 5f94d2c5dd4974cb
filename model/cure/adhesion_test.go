package cure_test

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/adhesion"
	"potlifed/model/cure"
)

// endAt is an adhesion end around an age in h, with a spread of ln.
func endAt(hours, spread float64) *adhesion.End {
	var e adhesion.End
	for k := range e {
		e[k] = math.Log(hours) + spread*adhesion.Deviate(k)
	}
	return &e
}

func mustAdhere(t interface{ Fatal(...any) }, c *cure.Ensemble, e *adhesion.End) {
	if err := c.Adhere(e); err != nil {
		t.Fatal(err)
	}
}

func encoded(t interface{ Fatal(...any) }, c *cure.Ensemble) []byte {
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// Without an adhesion end nothing changes to the bit, not even after there was one.
func TestWithoutTestsNothingChanges(t *testing.T) {
	plain := cure.New(mustCalibrate(t), sensors[0], 0.02, steady)
	tested := plain.Clone()
	for range 90 {
		liveOn(plain, time.Minute)
		liveOn(tested, time.Minute)
	}
	mustAdhere(t, tested, endAt(6, 0.2))
	mustAdhere(t, tested, nil)
	for range 300 {
		liveOn(plain, time.Minute)
		liveOn(tested, time.Minute)
	}
	if !bytes.Equal(encoded(t, plain), encoded(t, tested)) {
		t.Error("the ensembles differ")
	}
	if a, b := plain.Forecast(places[0], steady, 0), tested.Forecast(places[0], steady, 0); a != b || a.AdhesionFirst {
		t.Errorf("ends %v, want %v", b, a)
	}
}

// The risk is that of the earlier end. In steady air it is 1 - (1 - visible)(1 - adhesion).
func TestTheEarlierEndCounts(outer *testing.T) {
	fresh := cure.New(mustCalibrate(outer), cure.Sensor{}, 0.02, steady)
	rapid.Check(outer, func(t *rapid.T) {
		hours, spread := rapid.Float64Range(2, 20).Draw(t, "adhesion end in h"), rapid.Float64Range(0.1, 0.4).Draw(t, "spread")
		visible, both := fresh.Clone(), fresh.Clone()
		mustAdhere(t, both, endAt(hours, spread))
		for range rapid.IntRange(1, 10).Draw(t, "hours") {
			if rapid.Bool().Draw(t, "a look") {
				visible.Good()
				both.Good()
			}
			liveOn(visible, time.Hour)
			liveOn(both, time.Hour)
			// Steady air: each member's factor makes its dose that of the nominal one.
			share := endAt(hours, spread).Share(math.Log(both.Spent() * both.Ink().LRefH))
			want := 1 - (1-visible.Risk())*(1-share)
			if math.Abs(both.Risk()-want) > 0.02 {
				t.Fatalf("risk %v at %v, want %v", both.Risk(), both.Age(), want)
			}
			a, b := both.Forecast(places[0], steady, 0), visible.Forecast(places[0], steady, 0)
			if a.Low > b.Low+time.Second || a.Expected > b.Expected+time.Second || a.High > b.High+time.Second {
				t.Fatalf("ends %v, later than the visible %v", a, b)
			}
		}
		again := new(cure.Ensemble)
		if err := json.Unmarshal(encoded(t, both), again); err != nil {
			t.Fatal(err)
		}
		if again.Risk() != both.Risk() || !again.Adheres() {
			t.Errorf("read again: risk %v, want %v", again.Risk(), both.Risk())
		}
	})
}

func TestWhichEndComesFirst(t *testing.T) {
	for hours, first := range map[float64]bool{3: true, 14: false} {
		c := cure.New(mustCalibrate(t), sensors[0], 0.02, steady)
		mustAdhere(t, c, endAt(hours, 0.15))
		for range 12 {
			if got := c.Forecast(places[0], steady, 0).AdhesionFirst; got != first {
				t.Errorf("adhesion end at %v h: first is %v at %v, want %v", hours, got, c.Age(), first)
			}
			liveOn(c, time.Hour)
		}
	}
}

// The instants at which the risk passed a level do not depend on how the steps were cut.
func TestCrossingsOfTheEarlierEnd(t *testing.T) {
	a := cure.New(mustCalibrate(t), sensors[0], 0.02, steady)
	mustAdhere(t, a, endAt(4, 0.2))
	b := a.Clone()
	for range 12 {
		liveOn(a, time.Hour)
	}
	for range 720 {
		liveOn(b, time.Minute)
	}
	x, y := a.Forecast(places[0], steady, 0), b.Forecast(places[0], steady, 0)
	for name, d := range map[string]time.Duration{"low": x.Low - y.Low, "expected": x.Expected - y.Expected, "high": x.High - y.High} {
		if d.Abs() > time.Second {
			t.Errorf("%s differs by %v", name, d)
		}
	}
}

func TestDamagedAdhesionEndIsRefused(t *testing.T) {
	c := cure.New(mustCalibrate(t), sensors[0], 0.02, steady)
	if c.Adhere(&adhesion.End{3, 2}) == nil {
		t.Error("quantiles that fall are taken")
	}
	mustAdhere(t, c, endAt(4, 0.2))
	damaged := bytes.Replace(encoded(t, c), []byte(`"ln_age_h":[`), []byte(`"ln_age_h":[99,`), 1)
	if json.Unmarshal(damaged, new(cure.Ensemble)) == nil {
		t.Error("damaged quantiles are read")
	}
}

// A passed test makes no end later by more than 2 % in steady air, whatever other tests say. (In air that
// becomes cooler, 2 % of the pot life take longer.)
func TestOnePassedTestDoesNotLengthenALife(outer *testing.T) {
	fresh := cure.New(mustCalibrate(outer), sensors[0], 0.02, steady)
	rapid.Check(outer, func(t *rapid.T) {
		var tests []adhesion.Test
		for range rapid.IntRange(1, 5).Draw(t, "tests") {
			tests = append(tests, adhesion.Test{Batch: rapid.SampledFrom([]string{"a", "b", "own"}).Draw(t, "batch"),
				AgeH: rapid.Float64Range(2, 12).Draw(t, "age"), Passed: rapid.Bool().Draw(t, "passed")})
		}
		ends := func(tests []adhesion.Test) (cure.Ends, bool) {
			c := fresh.Clone()
			liveOn(c, 2*time.Hour)
			end, ok := adhesion.Learn(tests, c.Ink().LRefH, "own")
			if !ok {
				return cure.Ends{}, false
			}
			mustAdhere(t, c, &end)
			return c.Forecast(places[0], steady, 0, cure.WithoutDrift()), true
		}
		without, ok := ends(tests)
		if !ok {
			return
		}
		wrong := adhesion.Test{Batch: rapid.SampledFrom([]string{"a", "own", "c"}).Draw(t, "of"), AgeH: rapid.Float64Range(2, 12).Draw(t, "wrong"), Passed: true}
		with, _ := ends(append(tests, wrong))
		for name, longer := range map[string]float64{
			"low": with.Low.Hours() / without.Low.Hours(), "expected": with.Expected.Hours() / without.Expected.Hours(), "high": with.High.Hours() / without.High.Hours(),
		} {
			if math.Log(longer) > 0.0201 {
				t.Errorf("%s is later by the factor %.4f", name, longer)
			}
		}
	})
}
