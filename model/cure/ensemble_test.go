package cure

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
)

func TestWarmerMoreHumidOrMoreExposedSpendsMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ink := calibrateAny(t)
		p := anyPlace(t)
		a, b := anyAir(t, "a"), anyAir(t, "b")
		mild := air.State{TemperatureC: min(a.TemperatureC, b.TemperatureC), HumidityPct: min(a.HumidityPct, b.HumidityPct)}
		harsh := air.State{TemperatureC: max(a.TemperatureC, b.TemperatureC), HumidityPct: max(a.HumidityPct, b.HumidityPct)}
		d := time.Duration(rapid.Int64Range(1, int64(10*time.Hour)).Draw(t, "duration"))
		start := New(ink, Sensor{HumidityAccuracyPct: 3}, 0, mild)
		x, y, covered := start.Clone(), start.Clone(), start.Clone()
		x.Advance(p, Step{Duration: d, From: mild, To: mild, Kind: Measured})
		y.Advance(p, Step{Duration: d, From: mild, To: harsh, Kind: Measured})
		half := p
		half.Exposure /= 2
		covered.Advance(half, Step{Duration: d, From: mild, To: mild, Kind: Measured})
		const rounding = 1 + 1e-12
		if x.Spent() > y.Spent()*rounding || covered.Spent() > x.Spent()*rounding || x.Risk() > y.Risk()+1e-9 {
			t.Fatalf("mild %v, harsh %v, covered %v", x.Spent(), y.Spent(), covered.Spent())
		}
	})
}

func TestDegradedKnowledgeWidens(t *testing.T) {
	now := air.State{TemperatureC: 22, HumidityPct: 50}
	worst := air.State{TemperatureC: 26, HumidityPct: 70}
	live := func(kind StepKind) (*Ensemble, Ends) {
		c := usualEnsembleAt(t, now)
		c.Advance(bench, Step{Duration: 3 * time.Hour, From: now, To: now, Kind: kind, Worst: worst, Held: time.Minute})
		c.Advance(bench, still(22, 50, time.Minute))
		return c, c.Forecast(bench, now, 0, WithoutDrift())
	}
	width := func(e Ends) time.Duration { return e.High - e.Low }
	known, knownEnds := live(Measured)
	for _, kind := range []StepKind{Held, Bridged, Stale} {
		c, ends := live(kind)
		if width(ends) <= width(knownEnds) && kind != Stale {
			t.Errorf("%s: band %v, measured %v", kind, width(ends), width(knownEnds))
		}
		if kind == Stale {
			if c.Spent() <= known.Spent() || ends.Low >= knownEnds.Low {
				t.Errorf("stale air is taken for mild: spent %v, measured %v", c.Spent(), known.Spent())
			}
		} else if math.Abs(c.Spent()/known.Spent()-1) > 1e-12 {
			t.Errorf("%s: nominal %v, measured %v", kind, c.Spent(), known.Spent())
		}
		if share := c.DoubtfulShare(); (kind == Held) != (share == 0) {
			t.Errorf("%s: doubtful share %v", kind, share)
		}
	}
	stale := usualEnsembleAt(t, now)
	plain := stale.Forecast(bench, now, time.Hour)
	towards := stale.Forecast(bench, now, time.Hour, TowardsWorst(worst))
	if towards.Low >= plain.Low || towards.Expected >= plain.Expected {
		t.Errorf("towards the worst %+v, as now %+v", towards, plain)
	}
	near(t, "middle between last and worst", stale.Clone().after(Step{Duration: 8 * time.Hour, From: now, To: now, Kind: Stale, Worst: worst}).CupTemperatureC(), 24, 1e-3)
}

func (c *Ensemble) after(s Step) *Ensemble {
	c.Advance(bench, s)
	return c
}

func TestDoubtfulShare(t *testing.T) {
	c := usualEnsembleAt(t, air.State{TemperatureC: 20, HumidityPct: 50})
	if c.DoubtfulShare() != 0 {
		t.Errorf("fresh: %v", c.DoubtfulShare())
	}
	c.Advance(open, still(20, 50, 3*time.Hour))
	s := still(20, 50, time.Hour)
	s.Uncertain = true
	c.Advance(open, s)
	near(t, "doubtful share", c.DoubtfulShare(), 0.25, 1e-12)
}

func TestStepWithoutDurationDoesNothing(t *testing.T) {
	c := usualEnsembleAt(t, air.State{TemperatureC: 20, HumidityPct: 50})
	c.Advance(bench, still(25, 60, time.Hour))
	before := marshal(t, c)
	c.Advance(open, still(40, 90, 0))
	c.Advance(open, still(40, 90, -time.Hour))
	c.CountGap(open, still(40, 90, 0))
	if after := marshal(t, c); after != before {
		t.Errorf("changed from %s to %s", before, after)
	}
}

func TestCloneIsIndependent(t *testing.T) {
	c := usualEnsembleAt(t, air.State{TemperatureC: 20, HumidityPct: 50})
	c.Advance(bench, still(25, 60, time.Hour))
	c.MarkAtLeast()
	before := marshal(t, c)
	d := c.Clone()
	if marshal(t, d) != before {
		t.Error("the clone differs")
	}
	d.Advance(open, still(30, 70, time.Hour))
	d.Good()
	d.MarkAtLeast()
	d.CountGap(open, still(30, 70, time.Hour))
	if marshal(t, c) != before {
		t.Error("changing the clone changed the original")
	}
}

// Warmer or more humid air to come never puts an end off.
func TestWarmerOrMoreHumidAirEndsSooner(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := anyAir(t, "a"), anyAir(t, "b")
		mild := air.State{TemperatureC: min(a.TemperatureC, b.TemperatureC), HumidityPct: min(a.HumidityPct, b.HumidityPct)}
		harsh := air.State{TemperatureC: max(a.TemperatureC, b.TemperatureC), HumidityPct: max(a.HumidityPct, b.HumidityPct)}
		now := anyAir(t, "start")
		c := New(calibrateAny(t), Sensor{HumidityAccuracyPct: 3}, 0, now)
		c.Advance(bench, Step{Duration: time.Duration(rapid.Int64Range(0, int64(4*time.Hour)).Draw(t, "age")), From: now, To: now})
		late, soon := c.Forecast(bench, mild, 0, WithoutDrift()), c.Forecast(bench, harsh, 0, WithoutDrift())
		// The members' integrals are good to 1e-4 of what is still to come; an end that has
		// passed stands where it was.
		later := func(a, b time.Duration) bool { return float64(a-b) > 2e-4*math.Abs(float64(b-c.Age()))+1e6 }
		if later(soon.Low, late.Low) || later(soon.Expected, late.Expected) || later(soon.High, late.High) {
			t.Fatalf("in %v %+v, in %v %+v", mild, late, harsh, soon)
		}
	})
}

// The ends of the physics are numbers like any other: frost, heat, no water at all and as much
// as the air can hold. A bone-dry batch lives on heat alone, one in saturated air never longer
// than there.
func TestTheEndsOfThePhysics(t *testing.T) {
	ink := calibrate(t, usual)
	for _, celsius := range []float64{-40, -20, 0, 80, 85} {
		dry, wet := air.State{TemperatureC: celsius}, air.State{TemperatureC: celsius, HumidityPct: 100}
		if still := StillAir(ink, open, dry); still.MoistureShare != 0 || still.LifeH <= StillAir(ink, open, wet).LifeH {
			t.Errorf("%v °C: dry %+v, wet %+v", celsius, still, StillAir(ink, open, wet))
		}
		for _, a := range []air.State{dry, wet} {
			c := usualEnsembleAt(t, a)
			c.Advance(bench, Step{Duration: time.Hour, From: a, To: a, Kind: Measured})
			ends := c.Forecast(bench, a, 0)
			if !(c.Spent() > 0) || !(ends.Low > 0 && ends.Low <= ends.Expected && ends.Expected <= ends.High && ends.High <= c.Age()+Horizon) {
				t.Errorf("%+v: spent %v, ends %+v", a, c.Spent(), ends)
			}
		}
	}
}
