package cure

import (
	"testing"
	"time"

	"potlifed/model/air"
)

func TestAtLeastAddsRiskUntilTheGapIsCounted(t *testing.T) {
	now := air.State{TemperatureC: 22, HumidityPct: 50}
	c := usualEnsembleAt(t, now)
	c.Advance(bench, still(22, 50, 4*time.Hour))
	known := c.Clone()
	c.MarkAtLeast()
	if c.gap == nil || c.Risk() <= known.Risk() || c.Spent() != known.Spent() || c.Age() != known.Age() {
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
	if c.gap != nil || c.Age() != known.Age() {
		t.Errorf("counted: at least %v, age %v, want %v", c.gap != nil, c.Age(), known.Age())
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
	if c.Risk() > 1e-12 || c.goodAt != 7*time.Hour {
		t.Errorf("risk %v, good at %v: the batch was seen good after the gap", c.Risk(), c.goodAt)
	}
	d := usualEnsembleAt(t, now)
	d.Advance(bench, still(22, 50, 3*time.Hour))
	d.Good()
	d.MarkAtLeast()
	d.CountGap(bench, Step{Duration: 4 * time.Hour, From: now, To: now, Kind: Bridged})
	if d.Risk() < 0.3 || d.goodAt != 3*time.Hour {
		t.Errorf("risk %v, good at %v: the gap came after the look", d.Risk(), d.goodAt)
	}
}
