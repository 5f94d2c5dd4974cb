package record

import (
	"math"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/viscosity"
)

// What is learned of a lot moves a batch that is followed too, and the ages of its samples with it: they are shares of
// the pot life, as the batch's own age is.
func TestALotMovesABatchThatIsFollowed(t *testing.T) {
	own, err := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	short := own
	short.LRefH *= 0.8
	still := air.State{TemperatureC: 21, HumidityPct: 45}
	c := cure.New(short, cure.Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0, still)
	s := &State{Batches: map[string]*Batch{"1": {ID: "1", Ink: "i", Ensemble: c, WithoutLots: own}}}
	for k := range 2 {
		c = s.Batches["1"].Ensemble.Clone()
		c.Advance(cure.Place{Exposure: 1}, cure.Step{Duration: time.Hour, From: still, To: still, Kind: cure.Measured})
		b := *s.Batches["1"]
		b.Ensemble = c
		s.Batches["1"] = &b
		TrendTaken{Batch: "1", Instrument: "stirrer", Value: 20, Begin: k == 0, Curve: viscosity.AssumedTrend(),
			Sample: viscosity.Sample{LnRuns: []float64{0.1 * float64(k)}, RunSpread: 0.003, TemperatureC: 21}}.apply(s, Record{Seq: uint64(k + 1), Stamp: Stamp{At: noon}})
	}
	before := s.Batches["1"]
	s.knowLots("i") // the lot's effect is revoked
	after := s.Batches["1"]
	if after.Ensemble.Ink() != own {
		t.Fatal("the batch has not become that of its ink")
	}
	for k, was := range before.Trend.Samples {
		if got := after.Trend.Samples[k].Spent; math.Abs(got/was.Spent-0.8) > 1e-9 {
			t.Errorf("sample %d lies at %v of the pot life, and was at %v", k, got, was.Spent)
		}
	}
	if newest, _ := after.Trend.Newest(); math.Abs(newest.Spent-after.Ensemble.Spent()) > 1e-9 {
		t.Errorf("the newest sample lies at %v, the batch at %v", newest.Spent, after.Ensemble.Spent())
	}
}
