package bench

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/airpath"
	"potlifed/model/cure"
	"potlifed/model/mix"
)

// A zone that gets hot and humid every afternoon is foreseen to get so again: the
// batch that is mixed in its mild morning ends sooner than in air that stays. Once
// the record is a few days long; before that the default holds.
func TestForecastFollowsTheZonesOwnDays(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.must(request.RecordMix{
		Ink: "dial-satin", MixedAt: s.b.clock.now(),
		Components: []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}, {Part: "thinner", G: 7.5}},
	}).ID
	batch := s.b.state.Batches[id]
	zone := *s.b.state.Zones[batch.Zone]
	path := &s.b.zones[batch.Zone].path
	of := airpath.Batch{Ensemble: batch.Ensemble, Place: batch.Basis.Place, MixedAt: batch.MixedAt}
	forecast := func(closed airpath.Closed) cure.Ends { return path.Forecast(of, closed, time.Hour) }
	before := forecast(zone)

	start := s.b.clock.now().Add(-10 * 24 * time.Hour).Truncate(time.Hour)
	days := func(n int) airpath.Closed {
		learned := zone
		learned.Hours = air.History{}
		for h := (10 - n) * 24; h < 10*24; h++ {
			at := start.Add(time.Duration(h) * time.Hour)
			// Six hours from now on each of the days was the hottest.
			x := math.Cos(2 * math.Pi * (at.Sub(s.b.clock.now()).Hours() - 6) / 24)
			a := air.State{TemperatureC: mild.TemperatureC + 5 + 6*x, HumidityPct: mild.HumidityPct + 5 + 6*x}
			learned.Hours = learned.Hours.With(at, 0, a, a)
		}
		return learned
	}
	if few := forecast(days(1)); few != before {
		t.Errorf("with a day of record %+v, without %+v", few, before)
	}
	known := forecast(days(10))
	if known.Expected > before.Expected-30*time.Minute || known.Low > before.Low {
		t.Errorf("with ten hot days of record %+v, without %+v", known, before)
	}
	step := path.Open(days(10), s.b.clock.now(), s.b.airSensors(s.b.zones[batch.Zone]))
	if step.DriftK <= air.DriftTemperatureK {
		t.Errorf("a zone of 12 K a day strays by %v K in the square root of an hour", step.DriftK)
	}
}
