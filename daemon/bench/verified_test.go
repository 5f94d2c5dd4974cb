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
		return s.must(request.RecordMix{Ink: "gloss-4", MixedAt: s.b.now(), Zone: zone, Components: parts})
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

	humidity := 75.3
	s.tell(request.VerifySensor{Sensor: "hall-air", HumidityPct: &humidity, Note: "salt jar"})
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
