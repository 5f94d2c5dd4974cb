package bench

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
)

// trioShop has three sensors at the bench.
var trioShop = strings.Replace(pairShop, "  - {id: hall-air,", "  - {id: bench-three, zone: bench, path: /nowhere/three, every: 5s}\n  - {id: hall-air,", 1)

func readsTo(c, pct float64) *air.State { return &air.State{TemperatureC: c, HumidityPct: pct} }

// TestAZoneIsTheMeanOfItsSensors: of those that agree; who is left out is named, with the reason.
func TestAZoneIsTheMeanOfItsSensors(t *testing.T) {
	s := openShopOf(t, t.TempDir(), newClock(), trioShop)
	defer s.crash()
	s.goes(time.Minute, rooms{"bench-air": readsTo(20, 50)})
	if z := s.b.Snapshot().Air[0]; z.Sensor != "bench-air" || !slices.Equal(z.Sensors, []string{"bench-air"}) || len(z.LeftOut) != 2 || z.LeftOut[0].Why != "waiting" {
		t.Errorf("one has read: %q, %v, left out %v", z.Sensor, z.Sensors, z.LeftOut)
	}
	s.goes(time.Minute, rooms{"bench-air": readsTo(20, 50), "bench-two": readsTo(20.4, 51), "bench-three": readsTo(20.2, 49)})
	z := s.b.Snapshot().Air[0]
	if z.Sensor != "" || !slices.Equal(z.Sensors, []string{"bench-air", "bench-two", "bench-three"}) || z.LeftOut != nil || math.Abs(*z.TemperatureC-20.2) > 1e-9 || math.Abs(*z.HumidityPct-50) > 0.1 {
		t.Errorf("three agree: %q, %v, left out %v, %v °C, %v %%", z.Sensor, z.Sensors, z.LeftOut, *z.TemperatureC, *z.HumidityPct)
	}
	// The first of the configuration is wrong: it moves nothing, and two that agree are trusted.
	s.goes(10*time.Minute, rooms{"bench-air": readsTo(20, 90), "bench-two": readsTo(20.2, 51), "bench-three": readsTo(20.2, 49)})
	z = s.b.Snapshot().Air[0]
	if !slices.Equal(z.LeftOut, []view.LeftOut{{Sensor: "bench-air", Why: "differs"}}) || math.Abs(*z.HumidityPct-50) > 0.1 || z.Quality != view.QualityGood {
		t.Errorf("one is wrong: left out %v, %v %%, %s %q", z.LeftOut, *z.HumidityPct, z.Quality, z.Why)
	}
	s.is(alarm.Unacknowledged, alarm.Disagrees, "bench-air")
	s.is(alarm.Normal, alarm.Disagrees, "bench-two")
	s.is(alarm.Normal, alarm.Disagrees, "bench-three")
	for _, v := range s.b.Snapshot().Sensors {
		if (v.Disagrees != "") != (v.ID == "bench-air") {
			t.Errorf("%s: %q", v.ID, v.Disagrees)
		}
	}
	s.goes(time.Minute, rooms{"bench-two": readsTo(20.2, 51)})
	z = s.b.Snapshot().Air[0]
	if z.Sensor != "bench-two" || len(z.LeftOut) != 2 || z.LeftOut[1] != (view.LeftOut{Sensor: "bench-three", Why: "stale"}) || *z.HumidityPct != 51 {
		t.Errorf("one is left: %q, left out %v, %v %%", z.Sensor, z.LeftOut, *z.HumidityPct)
	}
}

// TestASensorThatComesAndGoesCutsNoLife: one that reads more humid air, as two good sensors may, is
// lost and comes back. No batch's life is cut by that; it is by the room becoming more humid.
func TestASensorThatComesAndGoesCutsNoLife(t *testing.T) {
	oneGoroutine(t)
	s := openShopOf(t, t.TempDir(), newClock(), strings.Replace(pairShop, "{shortest: 6h, longest: 8h}", "{shortest: 36h, longest: 48h}", 1))
	defer s.crash()
	dry, both := rooms{"bench-air": readsTo(20, 50)}, rooms{"bench-air": readsTo(20, 50), "bench-two": readsTo(21.1, 53.5)}
	s.goes(2*time.Minute, dry)
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.goes(10*time.Minute, dry)
	before := s.b.lives[id].Ends.Expected
	for _, r := range []rooms{both, dry, {"bench-two": readsTo(21.1, 53.5)}, both, {"bench-two": readsTo(21.1, 53.5)}} {
		s.goes(12*time.Minute, r)
		if a, raised := s.alarm(alarm.LifeCut, id); raised {
			t.Fatalf("with %v: %s", s.b.Snapshot().Air[0].Sensors, a.Text)
		}
	}
	if cut := before - s.b.lives[id].Ends.Expected; cut < alarm.CutLimit(before) {
		t.Fatalf("the end came nearer by %v only: the test shows nothing", cut)
	}
	s.goes(15*time.Minute, rooms{"bench-two": readsTo(23, 75)})
	s.is(alarm.Unacknowledged, alarm.LifeCut, id)
}
