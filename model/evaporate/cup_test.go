package evaporate

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func usualCup(t *testing.T) Cup {
	t.Helper()
	c, err := NewCup(75, 7.5)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestNothingLostNothingAdvised(t *testing.T) {
	if a := usualCup(t).Advise(20, 2); a.AddG != 0 || a.WholePipettes != 0 || a.Basis != Nothing || a.AtLimit || a.ThinnerPct != 10 {
		t.Errorf("%+v", a)
	}
}

func TestAWeighingReplacesTheEstimate(t *testing.T) {
	c := usualCup(t).Stood(ketone, cup90, Stretch{10 * time.Hour, 20, 20})
	if c.EstimatedLossG < 0.5 || c.Advise(20, 2).Basis != Estimated {
		t.Fatalf("%+v", c)
	}
	c = c.Weighed(3)
	a := c.Advise(20, 2)
	if c.LostG() != 3 || a.Basis != Weighed || a.AddG != 3 {
		t.Errorf("%+v %+v", c, a)
	}
	// 3 g are 1.5 pipettes; two of them are 4 g.
	if a.Pipettes != 1.5 || a.WholePipettes != 2 || a.WholeG != 4 {
		t.Errorf("%+v", a)
	}
	c = c.Stood(ketone, cup90, Stretch{time.Hour, 20, 20})
	if a := c.Advise(20, 2); a.Basis != WeighedAndEstimated || !(a.AddG > 3) {
		t.Errorf("%+v", a)
	}
}

// Common practice, no source: 7.5 g are 3.75 fills of 2 g; 4 fills are 8 g, 10.67 % of 75 g.
func TestPipettes(t *testing.T) {
	a := usualCup(t).Weighed(7.5).Advise(20, 2)
	near(t, "fills", a.Pipettes, 3.75, 1e-12)
	if a.WholePipettes != 4 || a.WholeG != 8 {
		t.Errorf("%+v", a)
	}
	near(t, "share of the whole fills", 100*a.WholeG/75, 10.67, 0.005)
	if a := usualCup(t).Weighed(7.5).Advise(20, 0); a.AddG != 7.5 || a.WholePipettes != 0 || a.WholeG != 0 {
		t.Errorf("without a pipette: %+v", a)
	}
}

func TestAnEstimateNeverGoesBeyondTheRange(t *testing.T) {
	c := usualCup(t)
	sum := c.PouredG
	limited := false
	for range 200 {
		c = c.Stood(Thinner{1200, 116.16}, cup90, Stretch{4 * time.Hour, 25, 25})
		a := c.Advise(20, 2)
		limited = limited || a.AtLimit
		c = c.Thinned(a.AddG)
		sum += a.AddG
	}
	near(t, "all thinner ever poured", sum, 15, 1e-9)
	if !limited {
		t.Error("nobody was told that the range has ended")
	}
	if a := c.Advise(20, 2); a.WholePipettes != 0 || a.AddG > 1e-9 {
		t.Errorf("at the end of the range: %+v", a)
	}
	// What a scale says is gone may be made good: of 15 g poured 10 are lost, which leaves 2.5 g
	// short of what was mixed.
	a := c.Weighed(10).Advise(20, 2)
	near(t, "weighed", a.AddG, 2.5, 1e-9)
	if a.AtLimit {
		t.Errorf("weighed: %+v", a)
	}
}

func TestAWholePipetteStaysWithinTheRangeToo(t *testing.T) {
	// 14 g of 15 are poured; 1 g of room takes no pipette of 2 g, though half of one would round up.
	c := Cup{CatalysedG: 75, PouredG: 14, AimPct: 18, EstimatedLossG: 3}
	a := c.Advise(20, 2)
	near(t, "what may be added", a.AddG, 1, 1e-9)
	if a.WholePipettes != 0 || a.WholeG != 0 || !a.AtLimit {
		t.Errorf("%+v", a)
	}
}

func TestPrintedTakesItsShareOfEverything(t *testing.T) {
	c := usualCup(t).Weighed(1.5)
	c.EstimatedLossG = 1
	half := c.Printed(c.contentG() / 2)
	near(t, "content", half.contentG(), 40, 1e-9)
	near(t, "share", half.ThinnerPct(), c.ThinnerPct(), 1e-9)
	near(t, "advice", half.Advise(20, 2).AddG, c.Advise(20, 2).AddG/2, 1e-9)
	if empty := c.Printed(1000); empty.contentG() != 0 || empty.ThinnerPct() != 0 || empty.Advise(20, 2).AddG != 0 {
		t.Errorf("%+v", empty)
	}
	if same := c.Printed(-5); same != c {
		t.Errorf("%+v", same)
	}
}

func TestLossBetween(t *testing.T) {
	loss, u, err := LossBetween(94.5, 82, 11, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "loss", loss, 1.5, 1e-9)
	near(t, "u", u, 0.0408248, 1e-7) // JCGM 100, F.2.2.1: 0.408248 g for a division of 1 g
	if loss, _, err := LossBetween(90, 90.5, 0, 1); loss != 0 || err != nil {
		t.Errorf("within the scale's doubt: %v, %v", loss, err)
	}
	if _, _, err := LossBetween(90, 92, 0, 1); !errors.Is(err, errGained) || !strings.Contains(err.Error(), "2 g more") {
		t.Errorf("a gain: %v", err)
	}
	for _, bad := range [][4]float64{{-1, 0, 0, 1}, {90, math.NaN(), 0, 1}, {90, 80, math.Inf(1), 1}, {90, 80, 0, 0}, {90, 80, 0, math.NaN()}} {
		if _, _, err := LossBetween(bad[0], bad[1], bad[2], bad[3]); err == nil || errors.Is(err, errGained) {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

func TestNewCupRefuses(t *testing.T) {
	for _, bad := range [][2]float64{{0, 1}, {-1, 1}, {math.NaN(), 1}, {75, -1}, {75, math.Inf(1)}} {
		if _, err := NewCup(bad[0], bad[1]); err == nil {
			t.Errorf("%v is taken", bad)
		}
	}
}

// Whatever happens to a cup, the sum of thinner stays in the range but for what was weighed as
// lost, and no advice is more than was lost.
func TestAdviceInAnyOrderOfThings(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		catalysed := rapid.Float64Range(10, 500).Draw(r, "catalysed")
		aim := rapid.Float64Range(0, 20).Draw(r, "aim")
		c, err := NewCup(catalysed, aim/100*catalysed)
		if err != nil {
			r.Fatal(err)
		}
		for range rapid.IntRange(1, 30).Draw(r, "things") {
			switch rapid.IntRange(0, 3).Draw(r, "thing") {
			case 0:
				c = c.Stood(ketone, cup90, Stretch{time.Duration(rapid.IntRange(0, 600).Draw(r, "minutes")) * time.Minute, 25, 25})
			case 1:
				c = c.Weighed(rapid.Float64Range(0, 5).Draw(r, "loss"))
			case 2:
				c = c.Printed(rapid.Float64Range(0, 20).Draw(r, "printed"))
			case 3:
				a := c.Advise(20, 2)
				if a.AddG > a.LostG+1e-9 || a.AddG < 0 || a.WholeG > a.AddG+1+1e-9 {
					r.Fatalf("%+v of %+v", a, c)
				}
				add := a.AddG
				if rapid.Bool().Draw(r, "by pipette") {
					add = a.WholeG
				}
				c = c.Thinned(add)
				if over := c.PouredG - c.WeighedLossG - 0.20*c.CatalysedG; over > 1e-6 {
					r.Fatalf("%v g beyond the range: %+v", over, c)
				}
			}
		}
	})
}
