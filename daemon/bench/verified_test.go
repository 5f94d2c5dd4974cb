package bench

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
	"potlifed/model/mix"
)

// A sensor whose check is a year late says so everywhere, and its batches have a
// wider band; a check puts an end to that for batches mixed afterwards.
func TestAnOverdueCheckWidensTheBand(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	checked := noon.Add(-365*24*time.Hour - 12*averageMonth).Format(time.DateOnly)
	configuration := strings.Replace(testShop, "hall-air, zone: hall,", "hall-air, zone: hall, check_every: 365d, checked: "+checked+",", 1)
	s := openShopOf(t, dir, c, configuration)
	s.pass(2*time.Minute, both(mild))

	parts := []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}}
	mix := func(zone string) view.Batch {
		return s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Zone: zone, Components: parts})
	}
	width := func(v view.Batch) float64 { return v.RemainingS.High - v.RemainingS.Low }
	sure, late := mix("bench"), mix("hall")
	if got := s.b.state.Batches[late.ID].Basis.Sensor.OverdueMonths; math.Abs(got-12) > 0.05 {
		t.Errorf("the batch goes by a sensor that is %v months overdue, want 12", got)
	}
	if !(width(late) > 1.05*width(sure)) {
		t.Errorf("the band is %v s wide with a sensor a year overdue, and %v s without", width(late), width(sure))
	}
	if late.Quality != view.QualityUncertain || !strings.Contains(late.Why, "hall-air") {
		t.Errorf("quality %s, %q", late.Quality, late.Why)
	}
	key := record.AlarmKey{Name: alarm.SensorOverdue, Subject: "hall-air"}
	if row := s.b.state.Alarms[key]; row == nil || row.State != alarm.Unacknowledged {
		t.Errorf("alarm %+v", row)
	}
	if row := s.b.state.Alarms[record.AlarmKey{Name: alarm.SensorOverdue, Subject: "bench-air"}]; row != nil {
		t.Errorf("a sensor that is never due is overdue: %+v", row)
	}

	humidity := mild.HumidityPct + 0.8
	s.tell(request.VerifySensor{Sensor: "hall-air", HumidityPct: &humidity, Note: "beside the reference"})
	s.crash()
	s = openShopOf(t, dir, c, configuration)
	defer s.crash()
	s.pass(2*time.Minute, both(mild))
	if again := mix("hall"); s.b.state.Batches[again.ID].Basis.Sensor.OverdueMonths != 0 || again.Quality != view.QualityGood {
		t.Errorf("after the check: %s, %q, %+v", again.Quality, again.Why, s.b.state.Batches[again.ID].Basis.Sensor)
	}
	if row := s.b.state.Alarms[key]; row == nil || row.State != alarm.Returned {
		t.Errorf("after the check the alarm is %+v", row)
	}
	for _, v := range s.b.Snapshot().Sensors {
		if v.ID == "hall-air" && (v.Checked == nil || v.CheckDue == nil || v.CheckDue.Sub(*v.Checked) != 365*24*time.Hour || noon.Sub(*v.Checked) > 0) {
			t.Errorf("the sensor is shown as checked %v, due %v", v.Checked, v.CheckDue)
		}
	}
}

func TestChecksThatSayNothingAreRefused(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	beyond, fine := 101.0, 50.0
	boiling := 300.0
	for _, c := range []request.VerifySensor{
		{Sensor: "no-such", HumidityPct: &fine}, {Sensor: "bench-air"}, {Sensor: "bench-air", HumidityPct: &beyond},
		{Sensor: "bench-air", HumidityPct: &fine, TemperatureC: &boiling},
	} {
		w := &waiter{request: request.Request{Change: c, By: "tester"}, answer: make(chan answer, 1)}
		s.enter(w)
		var refusal *request.Refusal
		if a := <-w.answer; !errors.As(a.err, &refusal) {
			t.Errorf("%+v: %v", c, a.err)
		}
	}
	if len(s.b.state.Verified) != 0 {
		t.Errorf("recorded all the same: %v", s.b.state.Verified)
	}
}

// TestAFailedCheckIsNotBelieved records a reference that is far from the reading. The
// sensor is trusted less than before, and not more, until a check passes.
func TestAFailedCheckIsNotBelieved(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	configuration := strings.Replace(testShop, "hall-air, zone: hall,", "hall-air, zone: hall, check_every: 365d, checked: "+noon.AddDate(0, -1, 0).Format(time.DateOnly)+",", 1)
	s := openShopOf(t, dir, c, configuration)
	s.pass(2*time.Minute, both(mild))
	parts := []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}}
	mixed := func() view.Batch {
		return s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now(), Zone: "hall", Components: parts})
	}
	row := func() view.Sensor {
		for _, v := range s.b.Snapshot().Sensors {
			if v.ID == "hall-air" {
				return v
			}
		}
		t.Fatal("hall-air is not shown")
		return view.Sensor{}
	}
	before := mixed()
	due := row().CheckDue

	s.tell(request.VerifySensor{Sensor: "hall-air", HumidityPct: new(mild.HumidityPct + 22.3)})
	s.pass(6*time.Minute, both(mild)) // the alarm has a delay
	for _, restarted := range []bool{false, true} {
		if restarted {
			s.crash()
			s = openShopOf(t, dir, c, configuration)
			s.pass(2*time.Minute, both(mild))
		}
		v := row()
		if !strings.Contains(v.CheckFailed, "failed") || !v.CheckDue.Equal(*due) {
			t.Errorf("restarted %v: the sensor is shown with check %q, due %v, want it due %v as before", restarted, v.CheckFailed, v.CheckDue, due)
		}
		if a, stands := s.alarm(alarm.SensorOverdue, "hall-air"); !stands || !strings.Contains(a.Text, "22.3") && !strings.Contains(a.Text, "72.3") {
			t.Errorf("restarted %v: alarm %+v", restarted, a)
		}
		for _, z := range s.b.Snapshot().Air {
			if z.Zone == "hall" && (z.Quality != view.QualityUncertain || !strings.Contains(z.Why, "failed")) {
				t.Errorf("restarted %v: the air of hall is %s, %q", restarted, z.Quality, z.Why)
			}
		}
	}
	after := mixed()
	if width := func(v view.Batch) float64 { return v.RemainingS.High - v.RemainingS.Low }; !(width(after) > 1.05*width(before)) {
		t.Errorf("the band is %v s wide after the check failed, and %v s before", width(after), width(before))
	}

	s.tell(request.VerifySensor{Sensor: "hall-air", HumidityPct: new(mild.HumidityPct - 1)})
	s.pass(time.Minute, both(mild))
	if v := row(); v.CheckFailed != "" || !v.CheckDue.After(*due) {
		t.Errorf("after a check that passed: %q, due %v", v.CheckFailed, v.CheckDue)
	}
	s.crash()
}

// TestACheckNeedsAReading refuses a check while the sensor is silent: there is nothing
// to compare the reference with.
func TestACheckNeedsAReading(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(time.Minute, both(mild))
	s.pass(time.Minute, rooms{"bench-air": mild})
	if _, refused := s.asks(request.VerifySensor{Sensor: "hall-air", HumidityPct: new(50.0)}); refused == nil || refused.Kind != request.NotNow {
		t.Errorf("a check without a reading: %v, want it refused as not now", refused)
	}
}
