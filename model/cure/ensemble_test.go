package cure

import (
	"encoding/json"
	"math"
	"reflect"
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
	if fine.Risk() != 0 || after.Low <= fine.Age() || after.Expected <= after.Low || after.High <= after.Expected || fine.GoodAt() != fine.Age() {
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

func marshal(t testing.TB, c *Ensemble) string {
	t.Helper()
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestAtLeastAddsRiskUntilTheGapIsCounted(t *testing.T) {
	now := air.State{TemperatureC: 22, HumidityPct: 50}
	c := usualEnsembleAt(t, now)
	c.Advance(bench, still(22, 50, 4*time.Hour))
	known := c.Clone()
	c.MarkAtLeast()
	if !c.AtLeast() || c.Risk() <= known.Risk() || c.Spent() != known.Spent() || c.Age() != known.Age() {
		t.Errorf("marked: risk %v, known %v", c.Risk(), known.Risk())
	}
	once := c.Risk()
	c.Advance(bench, still(22, 50, 10*time.Minute))
	gap := Step{Duration: 2 * time.Hour, From: now, To: now, Kind: Bridged}
	twice := c.Clone()
	twice.MarkAtLeast()
	if twice.Risk() <= c.Risk() || once > c.Risk() {
		t.Errorf("a second mark: risk %v after %v", twice.Risk(), c.Risk())
	}
	c.CountGap(bench, gap)

	// As if the gap had been known when it happened.
	known.Advance(bench, gap)
	known.Advance(bench, still(22, 50, 10*time.Minute))
	if c.AtLeast() || c.Age() != known.Age() {
		t.Errorf("counted: at least %v, age %v, want %v", c.AtLeast(), c.Age(), known.Age())
	}
	near(t, "spent", c.Spent(), known.Spent(), 1e-9)
	near(t, "risk", c.Risk(), known.Risk(), 1e-4)
	near(t, "doubtful share", c.DoubtfulShare(), known.DoubtfulShare(), 1e-9)
}

func TestGapThatKillsIsPassedWhenItIsKnown(t *testing.T) {
	now := air.State{TemperatureC: 22, HumidityPct: 50}
	c := usualEnsembleAt(t, now)
	c.Advance(bench, still(22, 50, 2*time.Hour))
	c.MarkAtLeast()
	c.CountGap(bench, Step{Duration: 30 * time.Hour, From: now, To: now, Kind: Bridged})
	ends := c.Forecast(bench, now, 0)
	if c.Risk() < 0.99 || ends.High != c.Age() || ends.Low != c.Age() || c.Age() != 32*time.Hour {
		t.Errorf("risk %v, ends %+v at %v", c.Risk(), ends, c.Age())
	}
	// A short gap takes back a level that only the guess had passed.
	d := usualEnsembleAt(t, now)
	d.Advance(bench, still(22, 50, 225*time.Minute))
	d.MarkAtLeast()
	if d.Risk() < 0.10 || d.Forecast(bench, now, 0).Low != d.Age() {
		t.Fatalf("the guess should pass the first level: risk %v", d.Risk())
	}
	d.CountGap(bench, Step{Duration: time.Minute, From: now, To: now, Kind: Bridged})
	if d.Risk() >= 0.10 || d.Forecast(bench, now, 0).Low <= d.Age() {
		t.Errorf("risk %v, low %v at %v", d.Risk(), d.Forecast(bench, now, 0).Low, d.Age())
	}
}

func TestGapBeforeGoodCountsBeforeGood(t *testing.T) {
	now := air.State{TemperatureC: 22, HumidityPct: 50}
	c := usualEnsembleAt(t, now)
	c.Advance(bench, still(22, 50, 3*time.Hour))
	c.MarkAtLeast()
	c.Good()
	c.CountGap(bench, Step{Duration: 4 * time.Hour, From: now, To: now, Kind: Bridged})
	if c.Risk() > 1e-12 || c.GoodAt() != 7*time.Hour {
		t.Errorf("risk %v, good at %v: the batch was seen good after the gap", c.Risk(), c.GoodAt())
	}
	d := usualEnsembleAt(t, now)
	d.Advance(bench, still(22, 50, 3*time.Hour))
	d.Good()
	d.MarkAtLeast()
	d.CountGap(bench, Step{Duration: 4 * time.Hour, From: now, To: now, Kind: Bridged})
	if d.Risk() < 0.3 || d.GoodAt() != 3*time.Hour {
		t.Errorf("risk %v, good at %v: the gap came after the look", d.Risk(), d.GoodAt())
	}
}

func TestMarshalIsLosslessToTheBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := New(calibrateAny(t), Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0.03, anyAir(t, "start"))
		randomLife(t, c)
		text, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		var back Ensemble
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(&back)
		if err != nil || string(again) != string(text) {
			t.Fatalf("came back different (%v)", err)
		}
		// Both go on alike to the bit.
		p, s := anyPlace(t), Step{Duration: time.Hour, From: anyAir(t, "from"), To: anyAir(t, "to"), Kind: Bridged}
		c.Advance(p, s)
		back.Advance(p, s)
		if !reflect.DeepEqual(c.now, back.now) || c.nominal != back.nominal || c.crossed != back.crossed || c.Risk() != back.Risk() ||
			c.Forecast(p, s.To, 0) != back.Forecast(p, s.To, 0) {
			t.Fatal("the copy lives on differently")
		}
	})
}

// randomLife takes an ensemble through a few calls of any kind and checks what must always hold.
func randomLife(t *rapid.T, c *Ensemble) {
	kinds := []StepKind{Measured, Held, Stale, Bridged}
	for range rapid.IntRange(0, 6).Draw(t, "calls") {
		p := anyPlace(t)
		s := Step{
			Duration: time.Duration(rapid.Int64Range(0, int64(20*time.Hour)).Draw(t, "duration")), From: anyAir(t, "from"), To: anyAir(t, "to"),
			Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), Worst: anyAir(t, "worst"), Uncertain: rapid.Bool().Draw(t, "uncertain"),
			Held: time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "held")),
		}
		spent, age := c.Spent(), c.Age()
		switch rapid.IntRange(0, 5).Draw(t, "call") {
		case 0:
			c.Good()
		case 1:
			c.MarkAtLeast()
		case 2:
			c.CountGap(p, s)
		default:
			c.Advance(p, s)
		}
		if c.Spent() < spent || c.Age() < age {
			t.Fatalf("life ran backwards: %v, %v after %v, %v", c.Spent(), c.Age(), spent, age)
		}
		ends, risk := c.Forecast(p, s.To, s.Held), c.Risk()
		if !(risk >= 0 && risk <= 1) || ends.Low < 0 || ends.Low > ends.Expected || ends.Expected > ends.High {
			t.Fatalf("risk %v, ends %+v", risk, ends)
		}
		if (ends.Low <= c.Age()) != (risk >= 0.10) || (ends.Expected <= c.Age()) != (risk >= 0.50) || (ends.High <= c.Age()) != (risk >= 0.90) {
			t.Fatalf("at %v: risk %v, ends %+v", c.Age(), risk, ends)
		}
		if c.GoodAt() > c.Age() || !(c.DoubtfulShare() >= 0 && c.DoubtfulShare() <= 1) || !(c.Rate(p, s.To) > 0) {
			t.Fatalf("good at %v of %v, doubtful %v", c.GoodAt(), c.Age(), c.DoubtfulShare())
		}
	}
}

func TestAnyLifeKeepsTheInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		randomLife(t, New(calibrateAny(t), Sensor{TemperatureAccuracyC: 2, HumidityAccuracyPct: 5}, 0.07, anyAir(t, "start")))
	})
}

func TestUnmarshalRefusesDamage(t *testing.T) {
	c := usualEnsembleAt(t, air.State{TemperatureC: 20, HumidityPct: 50})
	var whole map[string]any
	if err := json.Unmarshal([]byte(marshal(t, c)), &whole); err != nil {
		t.Fatal(err)
	}
	for key, value := range map[string]any{
		"version": 99, "members": "AAAA", "dose": "", "dose_at_good": nil, "cup_c": "!", "age_ns": -5, "ink": map[string]any{}, "gap": "AAAAAAAA8D8=",
		"last_air": map[string]any{"temperature_c": 900}, "last_exposure": 7, "nominal": map[string]any{"dose": -1},
	} {
		damaged := map[string]any{}
		for k, v := range whole {
			damaged[k] = v
		}
		damaged[key] = value
		text, err := json.Marshal(damaged)
		if err != nil {
			t.Fatal(err)
		}
		var back Ensemble
		if json.Unmarshal(text, &back) == nil {
			t.Errorf("damaged %s was read", key)
		}
	}
}

func FuzzUnmarshal(f *testing.F) {
	ink, err := usual.Calibrate()
	if err != nil {
		f.Fatal(err)
	}
	c := newEnsemble(ink, drawMembers(ink, Sensor{}, 0, 4, generator), air.State{TemperatureC: 20, HumidityPct: 50})
	c.MarkAtLeast()
	text, err := json.Marshal(c)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{}`))
	f.Add([]byte(`{"version":1,"members":null}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		var c Ensemble
		if json.Unmarshal(text, &c) != nil {
			return
		}
		c.Advance(bench, still(25, 60, time.Minute))
		if !finite(c.Spent(), c.Risk()) {
			t.Fatalf("accepted an ensemble that computes %v, %v", c.Spent(), c.Risk())
		}
	})
}

func FuzzAdvanceAndForecast(f *testing.F) {
	f.Add(20.0, 50.0, 25.0, 60.0, int64(time.Hour), int64(25*time.Minute), 1.0, int64(0), uint8(0))
	f.Add(-1e300, 1e300, math.MaxFloat64, -5.0, int64(math.MaxInt64), int64(1), 0.0, int64(math.MinInt64), uint8(3))
	f.Add(85.0, 100.0, -40.0, 0.0, int64(1), int64(math.MaxInt64), -3.0, int64(math.MaxInt64), uint8(1))
	f.Fuzz(func(t *testing.T, t0, h0, t1, h1 float64, duration, lag int64, exposure float64, held int64, kind uint8) {
		from, to := air.State{TemperatureC: t0, HumidityPct: h0}, air.State{TemperatureC: t1, HumidityPct: h1}
		c := usualEnsembleAt(t, from)
		p := Place{Exposure: exposure, Lag: time.Duration(lag)}
		kinds := []StepKind{Measured, Held, Stale, Bridged}
		c.Advance(p, Step{Duration: time.Duration(duration), From: from, To: to, Kind: kinds[kind%4], Held: time.Duration(held), Worst: to})
		ends := c.Forecast(p, to, time.Duration(held))
		if !finite(c.Spent(), c.Risk(), c.Rate(p, to), c.CupTemperatureC(), c.DoubtfulShare()) || c.Age() < 0 || ends.Low < 0 || ends.High < ends.Low {
			t.Fatalf("spent %v, risk %v, age %v, ends %+v", c.Spent(), c.Risk(), c.Age(), ends)
		}
		for i := range c.now.dose {
			if !finite(c.now.dose[i], c.now.cup[i]) || c.now.dose[i] < 0 {
				t.Fatalf("member %d: dose %v, cup %v", i, c.now.dose[i], c.now.cup[i])
			}
		}
	})
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

// survivalAtGood returns the share of all batches like this one that were alive when it was last
// known good, 0..1.
func (c *Ensemble) survivalAtGood() float64 {
	return c.alive.sum * math.Exp(c.alive.lnUnit) / float64(len(c.members))
}
