package bench

import (
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
)

// TestAFaultValueStopsNoClock lets a sensor give -40 °C, a usual fault value, a second
// after 20 °C and from then on. A batch ages as it would have without it: the value is
// never used, the air is uncertain at once, and sensor-implausible stands.
func TestAFaultValueStopsNoClock(t *testing.T) {
	oneGoroutine(t)
	var width float64 // of the batch's band at the end
	spentAfter := func(fault *air.State, check func(s *shop, id string)) float64 {
		s := openShop(t, t.TempDir(), newClock())
		defer s.crash()
		s.pass(20*time.Second, both(mild))
		id := s.mixes()
		s.must(request.LoadBatch{Batch: id, Press: "press-1"})
		s.pass(time.Minute, both(mild))
		if fault != nil {
			s.air = both(fault)
		}
		last := s.spent(id)
		for range 20 * 60 * 10 { // 20 minutes
			s.turn()
			now := s.spent(id)
			if now < last {
				t.Fatalf("spent fell from %v to %v", last, now)
			}
			last = now
		}
		check(s, id)
		v := s.batch(id)
		width = v.RemainingS.High - v.RemainingS.Low
		return last
	}
	without := spentAfter(nil, func(*shop, string) {})
	sure := width
	for name, fault := range map[string]air.State{"-40 °C": {TemperatureC: -40, HumidityPct: 50}, "130 °C": {TemperatureC: 130, HumidityPct: 1}} {
		with := spentAfter(&fault, func(s *shop, id string) {
			a, stands := s.alarm("sensor-implausible", "bench-air")
			if !stands || name == "-40 °C" && !strings.Contains(a.Text, "no room") {
				t.Errorf("%s: alarm %+v", name, a)
			}
			if v := s.batch(id); v.Quality == view.QualityGood {
				t.Errorf("%s: the batch's quality is %s", name, v.Quality)
			}
			for _, z := range s.b.Snapshot().Air {
				if z.TemperatureC == nil || *z.TemperatureC != mild.TemperatureC {
					t.Errorf("%s: the air of %s is shown at %v °C", name, z.Zone, z.TemperatureC)
				}
			}
		})
		if !(width > sure) {
			t.Errorf("%s: the band is %v s wide, without the fault %v s", name, width, sure)
		}
		if with < without*(1-1e-9) {
			t.Errorf("%s: spent %v, without the fault %v: the fault slowed the clock", name, with, without)
		}
	}
}

// TestOneWildReadingIsUncertainAtOnce looks at the snapshot after the first reading that
// is not believed, long before an alarm.
func TestOneWildReadingIsUncertainAtOnce(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(time.Minute, both(mild))
	s.enter(airReading{sensor: "bench-air", air: air.State{TemperatureC: 45, HumidityPct: 50}, at: s.clock.is.Mono + 1})
	s.b.tick(s.b.clock.now())
	s.settle()
	row := s.b.Snapshot().Air[0]
	if row.Zone != "bench" || row.Quality != view.QualityUncertain || *row.TemperatureC != mild.TemperatureC {
		t.Errorf("the air is shown as %+v", row)
	}
	s.air = both(mild)
	for range 60 {
		s.turn()
	}
	if row := s.b.Snapshot().Air[0]; row.Quality != view.QualityGood {
		t.Errorf("the sensor is back: %s, %s", row.Quality, row.Why)
	}
}

// TestASlowSensorIsSuspectToo reads a sensor every six minutes. A value that no room has stands as
// an alarm a minute later, although it is the first one, and it is not used.
func TestASlowSensorIsSuspectToo(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(time.Minute, both(mild))
	read := func(celsius float64) {
		s.enter(airReading{sensor: "bench-air", air: air.State{TemperatureC: celsius, HumidityPct: mild.HumidityPct}, at: s.clock.is.Mono + 1})
	}
	s.air = rooms{"hall-air": mild}
	read(-15)
	goOn := func(d time.Duration) { // pass would forget what was read
		for range int(d / (100 * time.Millisecond)) {
			s.turn()
		}
	}
	goOn(6 * time.Minute)
	if a, stands := s.alarm("sensor-implausible", "bench-air"); !stands {
		t.Errorf("after the first reading: %+v", a)
	}
	read(-15)
	s.turn()
	if row := s.b.Snapshot().Air[0]; row.Zone != "bench" || *row.TemperatureC != mild.TemperatureC {
		t.Errorf("after the second reading the air is %+v", row)
	}
	read(mild.TemperatureC)
	s.pass(time.Minute, both(mild))
	if a, stands := s.alarm("sensor-implausible", "bench-air"); stands && a.State != "returned" {
		t.Errorf("the sensor is back: %+v", a)
	}
}

// TestSpentNeverFalls lets colder and drier air in, as fast as a room can change. What is spent of
// a batch never falls.
func TestSpentNeverFalls(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(time.Hour, both(mild))
	last, cold := s.spent(id), *mild
	for range 14 {
		cold.TemperatureC -= 1
		cold.HumidityPct -= 2
		s.air = both(&cold)
		for range 300 {
			s.turn()
			if now := s.spent(id); now < last {
				t.Fatalf("%v: spent fell from %v to %v", cold, last, now)
			} else {
				last = now
			}
		}
	}
}
