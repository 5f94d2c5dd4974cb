package cure

import (
	"encoding/json"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/viscosity"
)

var atRest = air.State{TemperatureC: 22, HumidityPct: 50}

func hourOf(c *Ensemble, hours float64) {
	c.Advance(bench, Step{Duration: hoursToDuration(hours), From: atRest, To: atRest, Kind: Measured})
}

// A stored ensemble that was measured continues to the bit, clones do not affect each other, and an air step of
// it allocates nothing.
func TestAMeasuredEnsembleIsStored(t *testing.T) {
	c := heardEnsemble(t)
	if err := c.Hear(7, viscosity.Assumed(), viscosity.Sample{LnRuns: []float64{5.2}, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 22}); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var d Ensemble
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	for _, e := range []*Ensemble{c, &d} {
		hourOf(e, 0.5)
	}
	if c.Risk() != d.Risk() || c.Forecast(bench, atRest, 0) != d.Forecast(bench, atRest, 0) {
		t.Errorf("risk %v and ends %v, stored %v and %v", c.Risk(), c.Forecast(bench, atRest, 0), d.Risk(), d.Forecast(bench, atRest, 0))
	}
	before := c.Risk()
	clone := c.Clone()
	hourOf(clone, 1)
	clone.Good()
	if c.Risk() != before || !c.Continues(c.Clone()) {
		t.Error("a clone changed what it was made from")
	}
	step := Step{Duration: time.Minute, From: atRest, To: atRest, Kind: Measured}
	if n := testing.AllocsPerRun(100, func() { clone.Advance(bench, step) }); n != 0 {
		t.Errorf("a step of a measured batch allocates %v times", n)
	}
}

// Removing all samples leaves the batch as if none had been taken, to the bit.
func TestWithoutSamplesNothingChanges(t *testing.T) {
	plain, measured := usualEnsemble(t), usualEnsemble(t)
	of := viscosity.Sample{LnRuns: []float64{4.7, 4.71}, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 22}
	if err := measured.Hear(1, viscosity.Assumed(), of); err != nil {
		t.Fatal(err)
	}
	hourOf(plain, 4)
	hourOf(measured, 4)
	of.LnRuns = []float64{5.2, 5.21}
	if err := measured.Hear(2, viscosity.Assumed(), of); err != nil {
		t.Fatal(err)
	}
	if plain.Risk() == measured.Risk() {
		t.Error("the samples say nothing")
	}
	if !measured.Unhear(1) || !measured.Unhear(2) || measured.Unhear(2) {
		t.Error("a sample could not be removed once")
	}
	if plain.Risk() != measured.Risk() || plain.Forecast(bench, atRest, 0) != measured.Forecast(bench, atRest, 0) || plain.Spent() != measured.Spent() {
		t.Errorf("risk %v and ends %v, without samples %v and %v", measured.Risk(), measured.Forecast(bench, atRest, 0), plain.Risk(), plain.Forecast(bench, atRest, 0))
	}
}

// One sample is wrong by far: another cup was meant. It is named, and the ends stay near those without it.
func TestASampleThatContradictsIsNamed(t *testing.T) {
	c := heardEnsemble(t)
	without := c.Forecast(bench, atRest, 0)
	hourOf(c, 0.2)
	if err := c.Hear(3, viscosity.Assumed(), viscosity.Sample{LnRuns: []float64{7.8, 7.81}, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 22}); err != nil {
		t.Fatal(err)
	}
	for _, s := range c.Heard() {
		if wrong := s.ID == 3; wrong != (s.Doubted > 0.5) {
			t.Errorf("sample %d is doubted with %v", s.ID, s.Doubted)
		}
	}
	if with := c.Forecast(bench, atRest, 0); with.Low > without.Low+without.Low/50 || with.Low < without.Low*8/10 {
		t.Errorf("low moves from %v to %v", without.Low, with.Low)
	}
}

// Thicker is older: with the same fresh sample, a higher viscosity now means an earlier end.
func TestAThickerBatchEndsEarlier(t *testing.T) {
	last := time.Duration(1 << 62)
	for _, ln := range []float64{5.05, 5.15, 5.25, 5.4} {
		c := heardEnsemble(t)
		c.Unhear(2)
		if err := c.Hear(2, viscosity.Assumed(), viscosity.Sample{LnRuns: []float64{ln, ln}, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 22}); err != nil {
			t.Fatal(err)
		}
		ends := c.Forecast(bench, atRest, 0)
		if !(ends.Expected < last) {
			t.Errorf("at ln viscosity %v the end is expected at %v, at the one before %v", ln, ends.Expected, last)
		}
		last = ends.Expected
	}
}
