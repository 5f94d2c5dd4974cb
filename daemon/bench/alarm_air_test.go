package bench

import (
	"errors"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/health"
)

func TestAirOutOfRange(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	at := func(temperature, humidity float64) rooms {
		return rooms{"bench-air": mild, "hall-air": {TemperatureC: temperature, HumidityPct: humidity}}
	}
	s.goes(20*time.Second, both(mild))
	s.goes(30*time.Second, at(36, 40)) // a moment with the gate open
	s.goes(3*time.Minute, at(34, 40))
	s.is(alarm.Normal, "air-out-of-range", "hall")
	s.goes(80*time.Second, at(36, 40))
	if a := s.is(alarm.Unacknowledged, "air-out-of-range", "hall"); !strings.Contains(plainly(a.Text), "36.0 °C") {
		t.Errorf("text %q", a.Text)
	}
	s.goes(10*time.Minute, at(34.7, 40))
	s.is(alarm.Unacknowledged, "air-out-of-range", "hall")
	s.goes(80*time.Second, at(34.3, 40))
	s.overOnceSeen("air-out-of-range", "hall")
	for _, r := range []rooms{at(9, 40), at(20, 86)} {
		s.goes(80*time.Second, r)
		s.is(alarm.Unacknowledged, "air-out-of-range", "hall")
		s.goes(80*time.Second, both(mild))
		s.overOnceSeen("air-out-of-range", "hall")
	}
	s.is(alarm.Normal, "air-out-of-range", "bench")
}

// TestColdCupSweats takes a cup from a cold bench to a press in warm, humid air. The
// dew point at 30 °C and 70 % is 23.9 °C (Magnus, from memory).
func TestColdCupSweats(t *testing.T) {
	cold, warm := &air.State{TemperatureC: 15, HumidityPct: 50}, &air.State{TemperatureC: 30, HumidityPct: 70}
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	r := rooms{"bench-air": cold, "hall-air": warm}
	s.goes(time.Minute, r)
	id := s.records("dial-satin", 60, 15, 7.5)
	s.goes(5*time.Minute, r)
	s.is(alarm.Normal, "cup-sweating", id)
	s.must(request.LoadBatch{Batch: id, Press: "press-2"})
	s.goes(2*time.Minute, r)
	s.is(alarm.Unacknowledged, "cup-sweating", id)
	s.goes(time.Hour, r) // it is as warm as the air by then
	s.overOnceSeen("cup-sweating", id)
}

// The ratio and the life of the ink of twoSensors are common practice, no source.
const twoSensors = `
bench: bench-1
data_dir: /nowhere
scales:
  - {id: scale-1, port: "tcp://127.0.0.1:1", division_g: 0.1, zone: bench}
sensors:
  - {id: left, zone: bench, path: /nowhere, every: 5s}
  - {id: right, zone: bench, path: /nowhere/else, every: 5s}
inks:
  - {id: dial-satin, hardener_ratio: "4:1", pot_life: {shortest: 6h, longest: 8h}}
`

func TestSensorsDisagree(t *testing.T) {
	s := openShopOf(t, t.TempDir(), newClock(), twoSensors)
	defer s.crash()
	at := func(humidity float64) *air.State { return &air.State{TemperatureC: 20, HumidityPct: humidity} }
	s.goes(10*time.Minute, rooms{"left": at(50), "right": at(57)}) // both may be 2 % off, and a room is not even
	s.is(alarm.Normal, "sensor-disagrees", "right")
	disagree := func() (told []string) {
		for _, v := range s.b.Snapshot().Sensors {
			if v.Disagrees != "" {
				told = append(told, v.ID+": "+v.Disagrees)
			}
		}
		return told
	}
	if told := disagree(); len(told) > 0 {
		t.Errorf("sensors that agree are shown as %q", told)
	}
	// The instruments say at once what the alarm says after its delay, and both of them: which one is
	// wrong is not known.
	s.goes(20*time.Second, rooms{"left": at(50), "right": at(62)})
	s.is(alarm.Normal, "sensor-disagrees", "right")
	if told := disagree(); len(told) != 2 || !strings.Contains(plainly(told[0]), "left reads 20.0 °C and 50 %, right beside it") {
		t.Errorf("sensors that disagree are shown as %q", told)
	}
	s.goes(6*time.Minute, rooms{"left": at(50), "right": at(62)})
	if a := s.is(alarm.Unacknowledged, "sensor-disagrees", "right"); !strings.Contains(a.Text, "left") || !strings.Contains(plainly(a.Text), "62 %") {
		t.Errorf("text %q does not say which and by how much", a.Text)
	}
	if v := s.b.Snapshot().Air[0]; v.Quality != view.QualityUncertain {
		t.Errorf("air of sensors that disagree is %s", v.Quality)
	}
	s.goes(6*time.Minute, rooms{"right": at(62)}) // the one that it was compared with is lost
	s.is(alarm.Suppressed, "sensor-disagrees", "right")
	s.is(alarm.Normal, "air-out-of-range", "bench") // the other one still sees the air
	s.goes(time.Minute, rooms{"left": at(50), "right": at(51)})
	s.is(alarm.Normal, "sensor-disagrees", "right")
	if told := disagree(); len(told) > 0 {
		t.Errorf("sensors that agree again are shown as %q", told)
	}
	s.goes(10*time.Minute, rooms{"left": at(50), "right": at(51)})
	s.is(alarm.Normal, "sensor-disagrees", "right")
}

func TestImplausibleIsNotStale(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	for range 4 {
		s.enter(airReading{sensor: "bench-air", err: errors.New("130 % is no humidity"), fault: health.Implausible, at: s.clock.is.Mono})
		s.goes(5*time.Second, rooms{"hall-air": mild})
	}
	if a := s.is(alarm.Unacknowledged, "sensor-implausible", "bench-air"); !strings.Contains(a.Detail, "130 %") {
		t.Errorf("text %q", a.Text)
	}
	s.is(alarm.Normal, "sensor-stale", "bench-air")
	s.is(alarm.Suppressed, "air-out-of-range", "bench")
	s.goes(20*time.Second, both(mild))
	s.overOnceSeen("sensor-implausible", "bench-air")
	s.is(alarm.Normal, "air-out-of-range", "bench")
}
