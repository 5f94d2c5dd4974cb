package cure

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
)

func hoursOf(e Ends) (expected, low, high float64) {
	return e.Expected.Hours(), e.Low.Hours(), e.High.Hours()
}

func TestEndsOfAFreshBatchInClosedForm(t *testing.T) {
	// ln L spread 0.20 and sigma 0.15 add to 0.25: 7.0588 exp(∓1.2816 · 0.25).
	ink := certain(calibrate(t, usual))
	ink.LifeLnSpread = 0.20
	c := New(ink, Sensor{Exact: true}, 0, air.State{TemperatureC: 20, HumidityPct: 50})
	expected, low, high := hoursOf(c.Forecast(open, air.State{TemperatureC: 20, HumidityPct: 50}, 0, WithoutDrift()))
	near(t, "low", low, 5.12, 0.01)
	near(t, "expected", expected, 7.06, 0.01)
	near(t, "high", high, 9.72, 0.02)
}

func TestRemainingDoseOfOneMember(t *testing.T) {
	// Known good at dose d; computed with scipy.stats.norm.
	for _, row := range []struct{ sigma, d, alive, low, expected, high float64 }{
		{0.15, 0.25, 1.00000, 0.57511, 0.75000, 0.96195},
		{0.15, 0.75, 0.97244, 0.09140, 0.25520, 0.46484},
		{0.15, 0.90, 0.75879, 0.03111, 0.14714, 0.33987},
		{0.15, 1.00, 0.50000, 0.01903, 0.10647, 0.27983},
		{0.15, 1.25, 0.06843, 0.01017, 0.06433, 0.19747},
		{0.25, 0.50, 0.99722, 0.22844, 0.50087, 0.87821},
		{0.10, 0.90, 0.85397, 0.02922, 0.11858, 0.24679},
	} {
		ink := certain(calibrate(t, usual))
		ink.Sigma = row.sigma
		now := air.State{TemperatureC: 20, HumidityPct: 50}
		c := New(ink, Sensor{Exact: true}, 0, now)
		c.Advance(open, still(20, 50, hoursToDuration(row.d*ink.LRefH)))
		c.Good()
		near(t, "alive", c.survivalAtGood(), row.alive, 1e-5)
		expected, low, high := hoursOf(c.Forecast(open, now, 0, WithoutDrift()))
		toDose := func(hours float64) float64 { return (hours - c.Age().Hours()) / ink.LRefH }
		near(t, "low", toDose(low), row.low, 1e-5)
		near(t, "expected", toDose(expected), row.expected, 1e-5)
		near(t, "high", toDose(high), row.high, 1e-5)
	}
	// The 80 % band of a fresh batch is exp(±1.2816 sigma).
	for sigma, band := range map[float64][2]float64{0.15: {0.825, 1.212}, 0.25: {0.726, 1.378}} {
		ink := certain(calibrate(t, usual))
		ink.Sigma = sigma
		now := air.State{TemperatureC: 20, HumidityPct: 50}
		expected, low, high := hoursOf(New(ink, Sensor{Exact: true}, 0, now).Forecast(open, now, 0, WithoutDrift()))
		near(t, "low factor", low/expected, band[0], 0.001)
		near(t, "high factor", high/expected, band[1], 0.001)
	}
}

func TestEndsStandStillInSteadyAir(t *testing.T) {
	now := air.State{TemperatureC: 23, HumidityPct: 55}
	c := New(calibrate(t, usual), Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0.03, now)
	first := c.Forecast(bench, now, 0, WithoutDrift())
	for range 9 * 60 {
		c.Advance(bench, still(23, 55, time.Minute))
		got := c.Forecast(bench, now, 0, WithoutDrift())
		for _, moved := range []time.Duration{got.Low - first.Low, got.Expected - first.Expected, got.High - first.High} {
			if moved.Abs() > time.Millisecond {
				t.Fatalf("at %v the ends are %+v, at mixing %+v", c.Age(), got, first)
			}
		}
	}
}

func TestBandOnlyClosesWithDrift(t *testing.T) {
	now := air.State{TemperatureC: 23, HumidityPct: 55}
	c := usualEnsembleAt(t, now)
	fresh := c.Forecast(bench, now, 0)
	before := fresh
	for c.Age() < fresh.Low-time.Minute {
		c.Advance(bench, still(23, 55, time.Minute))
		after := c.Forecast(bench, now, 0)
		const grain = 2 * time.Second
		if after.Low < before.Low-grain || after.High > before.High+grain {
			t.Fatalf("at %v the band went from %+v to %+v", c.Age(), before, after)
		}
		before = after
	}
	if closed := before.Low - fresh.Low; closed < 0 || closed > 15*time.Minute {
		t.Errorf("low moved by %v", closed)
	}
}

func usualEnsembleAt(t testing.TB, now air.State) *Ensemble {
	return New(calibrate(t, usual), Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0.03, now)
}

func TestCrossingsAreFoundInsideTheStepAndStay(t *testing.T) {
	now := air.State{TemperatureC: 21, HumidityPct: 50}
	fine, coarse := usualEnsembleAt(t, now), usualEnsembleAt(t, now)
	ends := fine.Forecast(bench, now, 0, WithoutDrift())
	for range 12 * 60 {
		fine.Advance(bench, still(21, 50, time.Minute))
		got := fine.Forecast(bench, now, 0)
		risk := fine.Risk()
		if (got.Low <= fine.Age()) != (risk >= 0.10) || (got.Expected <= fine.Age()) != (risk >= 0.50) || (got.High <= fine.Age()) != (risk >= 0.90) {
			t.Fatalf("at %v: risk %v, ends %+v", fine.Age(), risk, got)
		}
	}
	coarse.Advance(bench, still(21, 50, 12*time.Hour))
	for name, got := range map[string]Ends{"minutes": fine.Forecast(bench, now, 0), "one step": coarse.Forecast(bench, now, 0)} {
		for _, off := range []time.Duration{got.Low - ends.Low, got.Expected - ends.Expected, got.High - ends.High} {
			if off.Abs() > time.Second {
				t.Errorf("%s: crossed at %+v, forecast at mixing %+v", name, got, ends)
			}
		}
	}
	hot := air.State{TemperatureC: 40, HumidityPct: 90}
	if got := fine.Forecast(bench, hot, 0); got != fine.Forecast(bench, now, 0) {
		t.Errorf("a passed end moved with the air: %+v", got)
	}
	fine.Good()
	after := fine.Forecast(bench, now, 0)
	if fine.Risk() != 0 || after.Low <= fine.Age() || after.Expected <= after.Low || after.High <= after.Expected || fine.goodAt != fine.Age() {
		t.Errorf("after good: risk %v, ends %+v at %v", fine.Risk(), after, fine.Age())
	}
}

func TestGoodAfterManyLivesStillHasADistribution(t *testing.T) {
	now := air.State{TemperatureC: 35, HumidityPct: 80}
	c := usualEnsembleAt(t, now)
	c.Advance(bench, still(35, 80, 2000*time.Hour))
	if c.Risk() != 1 {
		t.Errorf("risk %v after %v lives", c.Risk(), c.Spent())
	}
	c.Good()
	ends := c.Forecast(bench, now, 0)
	if c.Risk() > 1e-9 || ends.Low <= c.Age() || ends.High <= ends.Expected {
		t.Errorf("risk %v, ends %+v at %v", c.Risk(), ends, c.Age())
	}
	c.Advance(bench, still(35, 80, ends.Expected-c.Age()))
	near(t, "risk at the expected end", c.Risk(), 0.5, 0.02)
}

// The cheap bounds that spare the full risk are never below it, so they change no result: the
// ensemble that works the risk out in every piece crosses each level at the same instant, to the
// bit.
func TestBoundsOfTheRiskChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := anyAir(t, "start")
		c := New(calibrateAny(t), Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0.03, start)
		c.Advance(bench, Step{Duration: time.Duration(rapid.Int64Range(0, int64(9*time.Hour)).Draw(t, "age")), From: start, To: anyAir(t, "then")})
		if rapid.Bool().Draw(t, "good") {
			c.Good()
		}
		if rapid.Bool().Draw(t, "at least") {
			c.MarkAtLeast()
		}
		full := c.Clone()
		for range rapid.IntRange(1, 40).Draw(t, "minutes") {
			s := Step{Duration: time.Duration(rapid.Int64Range(0, int64(20*time.Minute)).Draw(t, "duration")), From: insideAir(t, "from"), To: insideAir(t, "to")}
			c.Advance(bench, s)
			full.ceiling.forget()
			full.maxSigma = 10
			full.Advance(bench, s)
			if bound := c.ceiling.of(c.now.dose); bound < c.Risk() {
				t.Fatalf("the risk is %v, its bound %v", c.Risk(), bound)
			}
			if c.crossed != full.crossed {
				t.Fatalf("crossed at %v, with the risk worked out each time at %v", c.crossed, full.crossed)
			}
		}
	})
}

// survivalAtGood returns the share of all batches like this one that were alive when it was last
// known good, 0..1.
func (c *Ensemble) survivalAtGood() float64 {
	return c.alive.sum * math.Exp(c.alive.lnUnit) / float64(len(c.members))
}
