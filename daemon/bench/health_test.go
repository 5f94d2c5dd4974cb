package bench

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// pairShop has a second sensor beside bench-air.
var pairShop = strings.Replace(testShop, "  - {id: hall-air,", "  - {id: bench-two, zone: bench, path: /nowhere/two, every: 5s}\n  - {id: hall-air,", 1)

// livesDays lets days go by, with a reading each ten minutes from what reads gives, and a tick.
func (s *shop) livesDays(days int, reads func(day, part int) rooms) {
	s.otherAir()
	for day := range days {
		for part := range 144 {
			s.clock.turn(10 * time.Minute)
			for id, a := range reads(day, part) {
				s.enter(airReading{sensor: id, air: *a, at: s.clock.is.Mono})
			}
			s.b.tick(s.b.clock.now())
			s.settle()
		}
	}
}

// living is air that moves a little with each reading.
func living(part int, more float64) *air.State {
	return &air.State{TemperatureC: 20 + 0.1*float64(part%7), HumidityPct: 50 + 0.3*float64(part%11) + more}
}

// TestAnUnreliableSensorIsTold: one whose readings fail or jump too often is told of as a finding.
func TestAnUnreliableSensorIsTold(t *testing.T) {
	s := openShopOf(t, t.TempDir(), newClock(), pairShop)
	defer s.crash()
	s.goes(time.Minute, rooms{"bench-air": living(1, 0), "bench-two": living(1, 0)})
	for range 7 {
		now := s.b.clock.now()
		s.b.decide(now, actor.Bench, record.SensorDay{Sensor: "bench-air", Day: health.Day{Date: "2026-06-11", N: 900, Errors: 100, Jumps: 40}})
		s.b.decide(now, actor.Bench, record.SensorDay{Sensor: "bench-two", Day: health.Day{Date: "2026-06-11", N: 1000, Errors: 10, Jumps: 2}})
	}
	s.goes(10*time.Second, rooms{"bench-air": living(2, 0), "bench-two": living(2, 0)})
	if v := s.sensorRow("bench-air"); !slices.Equal(v.Findings(), []string{"fails", "jumps"}) || *v.Health.JumpsPerDay != 40 {
		t.Errorf("findings %v, %+v", v.Findings(), v.Health)
	}
	if v := s.sensorRow("bench-two"); v.Findings() != nil {
		t.Errorf("a sensor that is in order: findings %v", v.Findings())
	}
}

// TestUnreliableReadingsRaiseAlarms: after a week of errors and jumps, until one good day; and neither a
// day without the sensor nor its maintenance is such an error.
func TestUnreliableReadingsRaiseAlarms(t *testing.T) {
	s := openShopOf(t, t.TempDir(), newClock(), pairShop)
	defer s.crash()
	day := func(d health.Day) {
		d.Date = "2026-06-11"
		s.b.decide(s.b.clock.now(), actor.Bench, record.SensorDay{Sensor: "bench-two", Day: d})
		s.pass(3*time.Minute, rooms{"bench-air": living(1, 0), "bench-two": living(2, 0)})
	}
	stand := func() (failing, jumping bool) {
		f, f1 := s.alarm(alarm.SensorFailing, "bench-two")
		j, j1 := s.alarm(alarm.SensorJumping, "bench-two")
		return f1 && f.State != "returned", j1 && j.State != "returned"
	}
	for n := range 8 {
		day(health.Day{N: 900, Errors: 100, Jumps: 40})
		if f, j := stand(); f != (n >= 6) || j != (n >= 6) {
			t.Fatalf("after %d days: alarms %v, %v", n+1, f, j)
		}
	}
	if a, _ := s.alarm(alarm.SensorFailing, "bench-two"); !strings.Contains(plainly(a.Text), "10 % of the readings of bench-two failed") {
		t.Errorf("alarm %q", a.Text)
	}
	if a, _ := s.alarm(alarm.SensorJumping, "bench-two"); !strings.Contains(a.Text, "jumped 40 times a day") {
		t.Errorf("alarm %q", a.Text)
	}
	day(health.Day{N: 1000})
	if f, j := stand(); f || j {
		t.Errorf("after a good day: alarms %v, %v", f, j)
	}
	two := s.b.sensors["bench-two"]
	two.health.watch.EndDay(two.mono)
	fails := func(hours int) int {
		for range hours * 60 {
			s.clock.turn(time.Minute)
			s.enter(airReading{sensor: "bench-two", err: errors.New("gone"), fault: health.Absent, at: s.clock.is.Mono})
		}
		return two.health.watch.EndDay(two.mono).Errors
	}
	if n := fails(10); n != 11 {
		t.Errorf("an outage of ten hours counts as %d failed readings, want those of its first ten minutes", n)
	}
	s.pass(time.Minute, rooms{"bench-two": living(3, 0)})
	s.tell(request.TakeOutOfService{Sensor: "bench-two", Until: s.b.clock.now().Add(24 * time.Hour), Reason: "moved"})
	if n := fails(1); n != 0 {
		t.Errorf("%d failed readings count under maintenance", n)
	}
}

// TestEachSensorShowsItsOwnReading: also one that does not speak for its zone, and one that is silent
// now, with the time of its reading.
func TestEachSensorShowsItsOwnReading(t *testing.T) {
	s := openShopOf(t, t.TempDir(), newClock(), pairShop)
	defer s.crash()
	if v := s.sensorRow("bench-two"); v.TemperatureC != nil || v.HumidityPct != nil || !v.ReadAt.IsZero() {
		t.Errorf("before its first reading: %v, %v, %v", v.TemperatureC, v.HumidityPct, v.ReadAt)
	}
	s.goes(time.Minute, rooms{"bench-air": {TemperatureC: 20, HumidityPct: 50}, "bench-two": {TemperatureC: 20.4, HumidityPct: 51.5}})
	readAt := s.b.sensors["bench-two"].last
	s.goes(20*time.Minute, rooms{"bench-air": {TemperatureC: 20, HumidityPct: 50}})
	v := s.sensorRow("bench-two")
	if v.TemperatureC == nil || *v.TemperatureC != 20.4 || *v.HumidityPct != 51.5 || !v.ReadAt.Equal(readAt) || v.Condition != health.Stale {
		t.Errorf("a silent sensor shows %v °C, %v %%, read at %v, %s; want 20.4, 51.5, %v, stale", v.TemperatureC, v.HumidityPct, v.ReadAt, v.Condition, readAt)
	}
	if v.Air != nil {
		t.Error("an old reading counts as the present one")
	}
}

// TestAStuckSensorIsTold: a sensor whose readings always moved stands still. After an hour it is not
// trusted; its neighbour goes on, and so does the first when it moves again.
func TestAStuckSensorIsTold(t *testing.T) {
	oneGoroutine(t)
	s := openShopOf(t, t.TempDir(), newClock(), pairShop)
	defer s.crash()
	s.livesDays(4, func(_, part int) rooms {
		return rooms{"bench-air": living(part, 0), "bench-two": living(part, 0), "hall-air": living(part, 0)}
	})
	if v := s.sensorRow("bench-air").Health; v == nil || v.Stuck || *v.StuckAfterS != 3600 {
		t.Fatalf("after days of moving: %+v", v)
	}
	frozen := living(3, 0)
	for part := range 12 {
		s.clock.turn(10 * time.Minute)
		for id, a := range (rooms{"bench-air": frozen, "bench-two": living(part, 0), "hall-air": living(part, 0)}) {
			s.enter(airReading{sensor: id, air: *a, at: s.clock.is.Mono})
		}
		s.b.tick(s.b.clock.now())
		s.settle()
		_, stands := s.alarm(alarm.SensorStuck, "bench-air")
		if want := part > 6; stands != want {
			t.Fatalf("after %d minutes of standing still: alarm %v", 10*part, stands)
		}
	}
	if z := s.b.Snapshot().Air[0]; z.Quality != view.QualityGood || z.Sensor != "bench-two" || !slices.Equal(z.LeftOut, []view.LeftOut{{Sensor: "bench-air", Why: "stuck"}}) {
		t.Errorf("the air is %s, from %q, left out %v; want that of its neighbour", z.Quality, z.Sensor, z.LeftOut)
	}
	if _, stands := s.alarm(alarm.SensorStuck, "bench-two"); stands {
		t.Error("its neighbour is stuck too")
	}
	for range 4 { // its neighbour is lost: it speaks again, and is not trusted
		s.clock.turn(10 * time.Minute)
		s.enter(airReading{sensor: "bench-air", air: *frozen, at: s.clock.is.Mono})
		s.b.tick(s.b.clock.now())
		s.settle()
	}
	if z := s.b.Snapshot().Air[0]; z.Quality != view.QualityUncertain || !strings.Contains(z.Why, "stands still") {
		t.Errorf("the air is %s, %q", z.Quality, z.Why)
	}
	s.livesDays(1, func(_, part int) rooms { return rooms{"bench-air": living(part, 0), "bench-two": living(part, 0)} })
	if a, stands := s.alarm(alarm.SensorStuck, "bench-air"); stands && a.State != "returned" {
		t.Errorf("it moves again: %+v", a)
	}
}

// TestADriftingSensorIsTold: over a restart, and until it is checked or replaced. Its days are
// events; what they say is not computed from readings that are gone.
func TestADriftingSensorIsTold(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShopOf(t, dir, c, pairShop)
	defer func() { s.crash() }()
	state := s.b.state
	for day := range 45 {
		d := health.Day{N: 144, MeanPct: 50, MeanC: 20, Same: time.Minute, Beside: "bench-air", ApartPct: 0.5 + 0.1*float64(day%3)}
		if day >= 20 {
			d.ApartPct -= 0.15 * float64(day-20)
		}
		d.Date = "2026-01-01"
		s.b.decide(s.b.clock.now(), "bench", record.SensorDay{Sensor: "bench-two", Day: d})
		s.settle()
	}
	if slices.Equal(state.SensorDays["bench-two"], s.b.state.SensorDays["bench-two"]) {
		t.Error("an earlier state was changed")
	}
	s.crash()
	s = openShopOf(t, dir, c, pairShop)
	s.pass(2*time.Minute, rooms{"bench-air": mild, "bench-two": mild, "hall-air": mild})
	a, stands := s.alarm(alarm.SensorDrifting, "bench-two")
	if !stands || !strings.Contains(a.Text, "less against bench-air") {
		t.Errorf("alarm %+v", a)
	}
	if v := s.sensorRow("bench-two").Health; !v.Drifts || v.DriftPct == nil || *v.DriftPct > -2 {
		t.Errorf("shown as %+v", v)
	}
	s.tell(request.ReplaceDevice{Sensor: "bench-two"})
	s.pass(2*time.Minute, rooms{"bench-air": mild, "bench-two": mild, "hall-air": mild})
	if a, stands := s.alarm(alarm.SensorDrifting, "bench-two"); stands && a.State != "returned" {
		t.Errorf("replaced: %+v", a)
	}
}

// TestAScaleThatDoesNotSettleIsTold shakes the scale, then lets it stand.
func TestAScaleThatDoesNotSettleIsTold(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	for i := range 7 * 60 * 10 {
		s.turn()
		s.enter(weightReading{scale: "scale-1", at: s.clock.is.Mono, reading: weigh.Reading{Grams: 40 + 0.3*float64(i%2), HasWeight: true, Stability: weigh.Moving}})
	}
	if _, stands := s.alarm(alarm.ScaleNoisy, "scale-1"); !stands {
		t.Errorf("no alarm after seven minutes; health %+v", s.sensorRow("scale-1").Health)
	}
	s.weighs(40, 2*time.Minute)
	if a, stands := s.alarm(alarm.ScaleNoisy, "scale-1"); stands && a.State != "returned" {
		t.Errorf("it stands still: %+v", a)
	}
}

// TestTheDaysOfAScale: a day is recorded when it is over, and forgotten when the scale is replaced.
func TestTheDaysOfAScale(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	for i := range uint64(3) {
		s.weighs(0, 10*time.Second)
		s.enter(scaleLines{scale: "scale-1", lines: map[string]uint64{"ok": 9 + 90*i, "overload": 1, "torn": i, "unknown": 2 * i, "overlong": i}})
		s.weighs(40, 40*time.Second)
	}
	s.weighs(0, 10*time.Second)
	if v := s.sensorRow("scale-1"); v.PanDays != nil || v.Health.NoiseG == nil || *v.Health.NoiseG != 0 {
		t.Errorf("within the day: %v, %+v", v.PanDays, v.Health)
	}
	s.clock.turn(24 * time.Hour)
	s.weighs(0, 5*time.Second)
	v := s.sensorRow("scale-1")
	if len(v.PanDays) != 1 || v.PanDays[0].Settled < 6 || v.PanDays[0].Date == "" || v.PanDays[0].ZeroG == nil || *v.PanDays[0].ZeroG != 0 {
		t.Errorf("after the day: %+v", v.PanDays)
	} else if d := v.PanDays[0]; d.Lines != 188 || d.Rejected != 8 {
		t.Errorf("%d lines, %d rejected; want 188 and 8", d.Lines, d.Rejected)
	}
	s.tell(request.ReplaceDevice{Sensor: "scale-1"})
	if v := s.sensorRow("scale-1"); v.PanDays != nil || v.Health.NoiseG != nil {
		t.Errorf("replaced: %v, %+v", v.PanDays, v.Health)
	}
}
