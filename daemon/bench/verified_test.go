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
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/guide"
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

	s.tell(request.AcknowledgeAlarm{Alarm: alarm.SensorOverdue, Subject: "hall-air"})
	s.tell(request.VerifySensor{Sensor: "hall-air", HumidityPct: new(mild.HumidityPct + 22.3)})
	s.pass(2*time.Minute, both(mild))
	failed := s.b.state.Alarms[key]
	if failed.State != alarm.Unacknowledged || !strings.Contains(failed.Text, "failed") || strings.Contains(failed.Text, "overdue") {
		t.Errorf("after a check that failed the alarm says %q, %s", failed.Text, failed.State)
	}
	s.tell(request.AcknowledgeAlarm{Alarm: alarm.SensorOverdue, Subject: "hall-air"})
	s.pass(2*time.Minute, both(mild))
	if row := s.b.state.Alarms[key]; row.State != alarm.Acknowledged {
		t.Errorf("one failed check is told more than once: %+v", row)
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
	if row := s.b.state.Alarms[key]; row != nil {
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
	jar := air.State{TemperatureC: mild.TemperatureC, HumidityPct: mild.HumidityPct + 45}
	s.pass(time.Minute, both(mild))
	s.air = rooms{"bench-air": mild, "hall-air": &jar} // a change that no room makes is set aside at first
	for range 100 {
		s.turn()
	}
	if _, refused := s.asks(request.VerifySensor{Sensor: "hall-air", HumidityPct: &jar.HumidityPct}); refused == nil || refused.Kind != request.NotNow {
		t.Errorf("a check while the newest reading is set aside: %v, want it refused as not now", refused)
	}
	s.tell(request.TakeOutOfService{Sensor: "hall-air", Until: s.b.clock.now().Add(time.Hour), Reason: "a check"})
	s.pass(10*time.Second, rooms{"bench-air": mild, "hall-air": &jar})
	s.tell(request.VerifySensor{Sensor: "hall-air", HumidityPct: &jar.HumidityPct})
	if v := s.sensorRow("hall-air"); v.CheckFailed != "" {
		t.Errorf("a check of a sensor out of service: %s", v.CheckFailed)
	}
}

// checked is a shop whose hall-air is due each year, after two minutes of mild air. again opens it
// once it has crashed.
func checked(t *testing.T) (s *shop, again func() *shop) {
	t.Helper()
	dir, c := t.TempDir(), newClock()
	configuration := strings.Replace(testShop, "hall-air, zone: hall,", "hall-air, zone: hall, check_every: 365d, checked: "+noon.AddDate(0, -1, 0).Format(time.DateOnly)+",", 1)
	s = openShopOf(t, dir, c, configuration)
	s.pass(2*time.Minute, both(mild))
	return s, func() *shop { return openShopOf(t, dir, c, configuration) }
}

func (s *shop) sensorRow(id string) view.Sensor {
	s.t.Helper()
	for _, v := range s.b.Snapshot().Sensors {
		if v.ID == id {
			return v
		}
	}
	s.t.Fatalf("%s is not shown", id)
	return view.Sensor{}
}

// inJar lets hall-air read what it reads over a salt until it has come to rest.
func (s *shop) inJar(reads float64) {
	s.otherAir()
	for range 20 {
		s.clock.turn(time.Minute)
		for id, a := range both(mild) {
			if id == "hall-air" {
				a = &air.State{TemperatureC: 20, HumidityPct: reads}
			}
			s.enter(airReading{sensor: id, air: *a, at: s.clock.is.Mono})
		}
		s.b.tick(s.b.clock.now())
		s.settle()
	}
}

// TestTwoSaltsMakeACheck: a sensor that fails over one salt is not trusted because it passes over
// another. The two points lead to a correction, which has an effect once a person accepts it, and
// none any more once it is taken back.
func TestTwoSaltsMakeACheck(t *testing.T) {
	s, again := checked(t)
	defer func() { s.crash() }()
	s.inJar(79.5) // 4 % too much over sodium chloride, which gives 75.48 % at 20 °C
	s.tell(request.VerifySensor{Sensor: "hall-air", Salt: "sodium-chloride"})
	due := s.sensorRow("hall-air").CheckDue
	s.inJar(34.6) // 1.5 % too much over magnesium chloride: within 3 %
	s.tell(request.VerifySensor{Sensor: "hall-air", Salt: "magnesium-chloride"})
	v := s.sensorRow("hall-air")
	if len(v.CheckPoints) != 2 || !v.CheckPoints[0].Passed || v.CheckPoints[1].Passed || v.CheckFailed == "" || !v.CheckDue.Equal(*due) {
		t.Fatalf("after both salts: %+v", v)
	}
	o := v.CorrectionOffered
	if o == nil || math.Abs(o.Gain-(75.479-33.073)/(79.5-34.6)) > 1e-3 || v.Correction != nil {
		t.Fatalf("offered %+v, in use %+v", o, v.Correction)
	}
	read := func() float64 {
		s.inJar(79.5)
		return s.sensorRow("hall-air").Air.HumidityPct
	}
	if got := read(); got != 79.5 {
		t.Errorf("an offered correction makes %v of 79.5", got)
	}
	s.tell(request.AcceptCorrection{Sensor: "hall-air"})
	if got := read(); math.Abs(got-75.48) > 0.02 {
		t.Errorf("corrected, 79.5 is read as %v, want 75.48", got)
	}
	v = s.sensorRow("hall-air")
	if v.CheckFailed != "" || v.Correction == nil || v.Correction.By != "tester" || v.CorrectionOffered != nil || !v.CheckDue.After(*due) {
		t.Errorf("corrected: %+v", v)
	}
	before := s.b.state
	s.crash()
	s = again()
	if s.b.state.Corrections["hall-air"] != before.Corrections["hall-air"] {
		t.Errorf("after a restart: %+v", s.b.state.Corrections)
	}
	s.tell(request.RevokeCorrection{Sensor: "hall-air"})
	if got := read(); got != 79.5 {
		t.Errorf("taken back, 79.5 is read as %v", got)
	}
	if v = s.sensorRow("hall-air"); v.CheckFailed == "" || v.CorrectionOffered == nil || v.Correction != nil {
		t.Errorf("taken back: %+v", v)
	}
	if _, refused := s.asks(request.RevokeCorrection{Sensor: "hall-air"}); refused == nil {
		t.Error("taken back twice")
	}
}

// TestSolventIsNamed: low at 75 %, right at 33 %. No correction is offered, as the sensor may
// recover; once it is replaced, everything starts again.
func TestSolventIsNamed(t *testing.T) {
	s, _ := checked(t)
	defer s.crash()
	s.inJar(33.5)
	s.tell(request.VerifySensor{Sensor: "hall-air", Salt: "magnesium-chloride"})
	s.inJar(66)
	s.tell(request.VerifySensor{Sensor: "hall-air", Salt: "sodium-chloride"})
	v := s.sensorRow("hall-air")
	if v.CheckFinding != "solvent" || v.CorrectionOffered != nil || v.CheckFailed == "" {
		t.Errorf("%+v", v)
	}
	if _, refused := s.asks(request.AcceptCorrection{Sensor: "hall-air"}); refused == nil {
		t.Error("a correction that is not offered is accepted")
	}
	s.tell(request.ReplaceDevice{Sensor: "hall-air", Serial: "A 17"})
	v = s.sensorRow("hall-air")
	if v.CheckFailed != "" || v.CheckFinding != "" || len(v.CheckPoints) != 0 || v.Checked != nil || v.Replaced == nil || v.CheckDue.Sub(*v.Replaced) != 365*24*time.Hour {
		t.Errorf("replaced: %+v", v)
	}
}

// TestASensorInAJarIsNotTheRoom: while it is under maintenance, what it reads over a salt is not the
// air of its zone; and before it has come to rest, the point is refused.
func TestASensorInAJarIsNotTheRoom(t *testing.T) {
	s, _ := checked(t)
	defer s.crash()
	s.tell(request.TakeOutOfService{Sensor: "hall-air", Until: s.b.clock.now().Add(5 * time.Hour), Reason: "salt check"})
	s.pass(3*time.Minute, rooms{"bench-air": mild, "hall-air": &air.State{TemperatureC: 20, HumidityPct: 75}})
	for _, z := range s.b.Snapshot().Air {
		if z.Zone == "hall" && (*z.HumidityPct != mild.HumidityPct || z.Quality == view.QualityGood) {
			t.Errorf("the air of hall is shown as %v %%, %s", *z.HumidityPct, z.Quality)
		}
	}
	if _, refused := s.asks(request.VerifySensor{Sensor: "hall-air", Salt: "sodium-chloride"}); refused == nil || refused.Kind != request.NotNow {
		t.Errorf("three minutes in the jar: %v", refused)
	}
	s.tell(request.VerifySensor{Sensor: "hall-air", Salt: "sodium-chloride", Override: "a small jar"})
	if v := s.sensorRow("hall-air"); len(v.CheckPoints) != 1 || !v.CheckPoints[0].Passed {
		t.Errorf("%+v", v)
	}
}

// TestAScaleIsCheckedWithWeights follows a scale from a check that fails to one that passes.
func TestAScaleIsCheckedWithWeights(t *testing.T) {
	configuration := strings.Replace(testShop, "id: scale-1,", "id: scale-1, check_every: 180d, checked: "+noon.AddDate(-1, 0, 0).Format(time.DateOnly)+",", 1)
	s := openShopOf(t, t.TempDir(), newClock(), configuration)
	defer s.crash()
	s.pass(2*time.Minute, both(mild))
	if a, stands := s.alarm(alarm.ScaleOverdue, "scale-1"); !stands || !strings.Contains(a.Text, "overdue") {
		t.Errorf("half a year late: %+v", a)
	}
	check := func(readings ...float64) request.VerifyScale {
		return request.VerifyScale{Scale: "scale-1", WeightClass: "M1", Loads: []request.ScaleLoad{{WeightsG: []float64{100}, ReadingsG: readings}}}
	}
	s.tell(check(103, 103, 103, 103, 103, 103))
	v := s.sensorRow("scale-1")
	if v.ScaleCheck == nil || v.ScaleCheck.Verdict != "failed" || !strings.Contains(plainly(v.CheckFailed), "3.0 g") || !v.CheckDue.Before(s.b.clock.now()) {
		t.Errorf("3 g off: %+v", v)
	}
	m := guide.Mix{Recipe: guide.Recipe{Ratio: 4, InkTargetG: 60, DivisionG: 0.1}}
	if u, sure := s.b.scales["scale-1"].weighingU(s.b.state, m), m.RatioUncertainty(); math.Abs(u-math.Hypot(sure, 3/math.Sqrt(3)/15)) > 1e-9 {
		t.Errorf("3 g off, the ratio is uncertain by %v, with a scale that is right by %v", u, sure)
	}
	s.tell(check(100, 100, 100, 100, 100, 100))
	v = s.sensorRow("scale-1")
	if v.ScaleCheck.Verdict != "passed" || v.CheckFailed != "" || v.CheckDue.Sub(*v.Checked) != 180*24*time.Hour {
		t.Errorf("right: %+v", v)
	}
	s.pass(time.Minute, both(mild))
	if a, stands := s.alarm(alarm.ScaleOverdue, "scale-1"); stands && a.State != "returned" {
		t.Errorf("after a check that passed: %+v", a)
	}
	for _, c := range []request.VerifyScale{check(100), check(), {Scale: "scale-1", WeightClass: "M1"}, {Scale: "no-such"}} {
		if _, refused := s.asks(c); refused == nil {
			t.Errorf("%+v is taken", c)
		}
	}
}

// TestAnotherAddressIsAsked: a sensor that the configuration has at another path than before is
// offered as replaced, until a person says so or says that it is the same one.
func TestAnotherAddressIsAsked(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShopOf(t, dir, c, testShop)
	s.pass(time.Minute, both(mild))
	if v := s.sensorRow("hall-air"); v.MovedFrom != "" {
		t.Errorf("at first: %+v", v)
	}
	s.crash()
	s = openShopOf(t, dir, c, strings.Replace(testShop, "/nowhere/else", "/nowhere/new", 1))
	defer s.crash()
	s.pass(time.Minute, both(mild))
	if v := s.sensorRow("hall-air"); !strings.Contains(v.MovedFrom, "/nowhere/else") {
		t.Errorf("at another address: %+v", v)
	}
	s.tell(request.ReplaceDevice{Sensor: "hall-air", Same: true})
	if v := s.sensorRow("hall-air"); v.MovedFrom != "" || v.Replaced != nil {
		t.Errorf("the same one: %+v", v)
	}
}
