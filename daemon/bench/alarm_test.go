package bench

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/mix"
)

// goes lets time go by in whole seconds, with the sensors read every five: quicker than
// pass, where the scale does not matter.
func (s *shop) goes(d time.Duration, r rooms) {
	s.otherAir()
	s.air = r
	for range int(d / time.Second) {
		s.clock.turn(time.Second)
		mono := s.clock.is.Mono.Truncate(time.Second)
		if mono%(5*time.Second) == 0 {
			for id, a := range s.air {
				s.enter(airReading{sensor: id, air: *a, at: s.clock.is.Mono})
			}
		}
		s.b.tick(s.b.clock.now())
		s.settle()
	}
}

// records is a batch that was mixed just now, by hand.
func (s *shop) records(ink string, inkG, hardenerG, thinnerG float64) string {
	s.t.Helper()
	parts := []mix.Component{{Part: "ink", G: inkG}, {Part: "hardener", G: hardenerG}}
	if thinnerG > 0 {
		parts = append(parts, mix.Component{Part: "thinner", G: thinnerG})
	}
	return s.must(request.RecordMix{Ink: ink, MixedAt: s.b.clock.now(), Components: parts}).ID
}

// is fails unless an alarm is in the given state; normal for one that is not there.
func (s *shop) is(want alarm.State, name, subject string) view.Alarm {
	s.t.Helper()
	a, there := s.alarm(name, subject)
	if got := alarm.State(a.State); there && got != want || !there && want != alarm.Normal {
		s.t.Errorf("%s/%s is %q (%s), want %s", name, subject, got, a.Text, want)
	}
	if there && (a.Response == "" || a.Text == "" || a.Since.IsZero()) {
		s.t.Errorf("%s/%s does not say what, since when and what to do: %+v", name, subject, a)
	}
	return a
}

// alarmEvents are the events about one alarm, as kind and who.
func (s *shop) alarmEvents(name, subject string) []string {
	s.t.Helper()
	events, err := s.journal.Events(s.ctx, 0, 100000)
	if err != nil {
		s.t.Fatal(err)
	}
	var got []string
	for _, e := range events {
		var about struct{ Alarm, Subject, By string }
		if json.Unmarshal(e.JSON, &about) == nil && about.Alarm == name && about.Subject == subject {
			got = append(got, strings.TrimPrefix(string(e.Kind), "alarm-")+" by "+about.By)
		}
	}
	return got
}

// publishing lets the bench think so of its publishing.
func (s *shop) publishing(o Publishing) { s.b.publishing = func() Publishing { return o } }

func TestAlarmLivesItsCycle(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	away := Publishing{Fault: "connection refused"}
	for range 20 { // one that comes and goes every second is not away
		s.publishing(away)
		s.goes(time.Second, both(mild))
		s.publishing(Publishing{})
		s.goes(time.Second, both(mild))
	}
	s.is(alarm.Normal, "broker", "bench-1")

	s.publishing(away)
	s.goes(7*time.Second, both(mild))
	if a := s.is(alarm.Unacknowledged, "broker", "bench-1"); !strings.Contains(a.Detail, "connection refused") {
		t.Errorf("the detail does not say why: %s", a.Detail)
	}
	s.publishing(Publishing{})
	s.goes(5*time.Second, both(mild))
	s.is(alarm.Unacknowledged, "broker", "bench-1")
	s.goes(7*time.Second, both(mild))
	s.is(alarm.Returned, "broker", "bench-1")
	s.publishing(away)
	s.goes(7*time.Second, both(mild))
	s.is(alarm.Unacknowledged, "broker", "bench-1")
	s.acknowledge("broker", "bench-1")
	if a := s.is(alarm.Acknowledged, "broker", "bench-1"); a.By != "tester" {
		t.Errorf("acknowledged by %q", a.By)
	}
	seq := s.b.state.Seq
	s.acknowledge("broker", "bench-1")
	if s.b.state.Seq != seq {
		t.Error("what is acknowledged was acknowledged again")
	}
	s.publishing(Publishing{})
	s.goes(12*time.Second, both(mild))
	s.is(alarm.Normal, "broker", "bench-1")
	want := []string{"raised by bench", "returned by bench", "raised by bench", "acknowledged by tester", "returned by bench"}
	if got := s.alarmEvents("broker", "bench-1"); !slices.Equal(got, want) {
		t.Errorf("events %v, want %v", got, want)
	}
}

func TestForeignMessagesRaiseTheAlarm(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	s.publishing(Publishing{Foreign: "another client published on light/light-1"})
	s.goes(7*time.Second, both(mild))
	if a := s.is(alarm.Unacknowledged, "broker", "bench-1"); !strings.Contains(a.Detail, "light/light-1") {
		t.Errorf("the detail does not name the topic: %s", a.Detail)
	}
	s.publishing(Publishing{})
	s.goes(12*time.Second, both(mild))
	s.is(alarm.Returned, "broker", "bench-1")
}

func TestAlarmOutlivesARestart(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.publishing(Publishing{Waiting: 1200, OtherInstance: "twin"})
	s.goes(40*time.Second, both(mild))
	since := s.is(alarm.Unacknowledged, "queue", "bench-1").Since
	s.acknowledge("queue", "bench-1")
	s.crash()
	c.turn(time.Minute)
	s = openShop(t, dir, c)
	defer s.crash()
	s.publishing(Publishing{Waiting: 600}) // in the dead-band
	if a := s.is(alarm.Acknowledged, "queue", "bench-1"); !a.Since.Equal(since) || a.By != "tester" {
		t.Errorf("after the restart: since %v by %q, want %v by tester", a.Since, a.By, since)
	}
	s.is(alarm.Unacknowledged, "other-instance", "bench-1")
	s.goes(2*time.Minute, both(mild))
	s.is(alarm.Acknowledged, "queue", "bench-1")
	s.overOnceSeen("other-instance", "bench-1")
	s.publishing(Publishing{Waiting: 400})
	s.goes(2*time.Minute, both(mild))
	s.is(alarm.Normal, "queue", "bench-1")
}

// TestALostSensorSilencesOnlyThree: what can no longer be seen is silent, and the end of
// a batch is warned of earlier than with the sensor.
func TestALostSensorSilencesOnlyThree(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	warned := map[string]map[string]time.Duration{}
	for _, sensor := range []string{"there", "lost"} {
		s := openShop(t, t.TempDir(), newClock())
		s.goes(time.Hour, both(humid)) // what a silent sensor may be hiding
		s.goes(20*time.Minute, both(mild))
		id := s.records("dial-satin", 60, 15, 7.5)
		s.must(request.LoadBatch{Batch: id, Press: "press-1"})
		r := both(mild)
		if sensor == "lost" {
			r = rooms{"hall-air": mild}
		}
		mixed, seen, silent := s.b.clock.now(), map[string]time.Duration{}, map[string]bool{}
		for range 12 * 60 {
			s.goes(time.Minute, r)
			for _, a := range s.b.Snapshot().Alarms {
				if _, known := seen[a.Name]; !known && a.State == "unacknowledged" {
					seen[a.Name] = s.b.clock.now().Sub(mixed)
				}
				if a.State == "suppressed" {
					silent[a.Name+"/"+a.Subject] = true
				}
			}
		}
		warned[sensor] = seen
		want := []string{}
		if sensor == "lost" {
			want = []string{"air-out-of-range/bench", "life-cut/" + id}
		}
		if got := slices.Sorted(maps.Keys(silent)); !slices.Equal(got, want) {
			t.Errorf("sensor %s: suppressed %v, want %v", sensor, got, want)
		}
		s.crash()
	}
	for _, name := range []string{"batch-ending", "batch-risk", "batch-dead"} {
		with, ok := warned["there"][name]
		without, too := warned["lost"][name]
		if !ok || !too || without >= with {
			t.Errorf("%s came after %v with the sensor (%v), after %v without (%v): want it earlier", name, with, ok, without, too)
		}
	}
	if _, ok := warned["lost"]["sensor-stale"]; !ok {
		t.Error("nothing said that the sensor is lost")
	}
}

func TestFaultsOfAMix(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(time.Minute, both(mild))
	off, thick, good := s.records("dial-satin", 60, 20, 8), s.records("dial-satin", 60, 15, 30), s.records("dial-satin", 60, 15, 7.5)
	s.goes(time.Second, both(mild))
	s.is(alarm.Unacknowledged, "ratio-off", off)
	s.is(alarm.Normal, "thinner-off", off)
	s.is(alarm.Unacknowledged, "thinner-off", thick)
	s.is(alarm.Normal, "ratio-off", thick)
	for _, name := range []string{"ratio-off", "thinner-off", "order-wrong"} {
		s.is(alarm.Normal, name, good)
	}
	s.must(request.ConfirmStep{Batch: off, Step: "load", Override: "for a test print"})
	s.goes(10*time.Second, both(mild))
	// Afterwards it does not look like any other.
	s.must(request.LoadBatch{Batch: off, Press: "press-1"})
	s.goes(10*time.Second, both(mild))
	if is := s.light("light-1").Reason; !strings.Contains(is, "Out of ratio, used because: for a test print.") {
		t.Errorf("the reason of the light of a batch out of ratio is %q", is)
	}
	s.must(request.LoadBatch{Batch: good, Press: "press-1", Replace: true})
	s.goes(10*time.Second, both(mild))
	if is := s.light("light-1").Reason; strings.Contains(is, "ratio") {
		t.Errorf("the reason of the light of a good batch is %q", is)
	}
	for id, want := range map[string]string{off: "for a test print", good: ""} {
		if is := s.b.batchView(s.b.state, s.b.state.Batches[id], s.b.clock.now()).RatioReason; is != want {
			t.Errorf("%s is used because %q, want %q", id, is, want)
		}
	}
	s.overOnceSeen("ratio-off", off)
	s.must(request.CloseBatch{Batch: thick, Outcome: "discarded"})
	s.is(alarm.Normal, "thinner-off", thick)
}

// TestFaultAtTheScale: a person at the scale has a while to put a pour right.
func TestFaultAtTheScale(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin"}).ID
	s.weighs(12, time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	s.pours(12, 72, 6*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "ink"})
	s.pours(72, 90, 3*time.Second) // 18 g where 15 are meant
	s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
	s.weighs(90, 90*time.Second)
	s.is(alarm.Normal, "ratio-off", id)
	s.weighs(90, 40*time.Second)
	s.is(alarm.Unacknowledged, "ratio-off", id)
	s.pours(90, 102, 3*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
	s.weighs(102, 10*time.Second)
	s.overOnceSeen("ratio-off", id)
}

func TestSeenAndNotChanged(t *testing.T) {
	oneGoroutine(t) // nine hours of ticks
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(time.Minute, both(mild))
	parts := []mix.Component{{Part: "ink", G: 60}, {Part: "hardener", G: 15}}
	id := s.must(request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now().Add(-3 * time.Hour), Components: parts}).ID
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.goes(9*time.Hour, both(mild))
	s.goes(20*time.Minute, both(mild))
	s.is(alarm.Unacknowledged, "batch-dead", id)
	s.is(alarm.Unacknowledged, "batch-left-open", id)
	s.is(alarm.Normal, "not-changed", "press-1")
	for _, name := range []string{"batch-ending", "batch-risk", "batch-dead", "batch-left-open"} {
		s.acknowledge(name, id)
	}
	s.goes(14*time.Minute, both(mild))
	s.is(alarm.Normal, "not-changed", "press-1")
	if s.light("light-1").Flashing {
		t.Error("the light flashes although everything was seen")
	}
	s.goes(2*time.Minute, both(mild))
	if a := s.is(alarm.Unacknowledged, "not-changed", "press-1"); !strings.Contains(a.Text, "tester") || !strings.Contains(a.Text, id) {
		t.Errorf("text %q does not say who and which", a.Text)
	}
	if !s.light("light-1").Flashing {
		t.Error("the light does not flash for an alarm of its press")
	}
	s.must(request.UnloadBatch{Batch: id})
	s.goes(10*time.Second, both(mild))
	s.overOnceSeen("not-changed", "press-1")
}

func TestShelving(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.publishing(Publishing{Fault: "refused"})
	s.goes(20*time.Second, both(mild))
	in := func(d time.Duration) time.Time { return s.b.clock.now().Add(d) }
	for name, wrong := range map[string]request.Change{
		"past":           request.ShelveAlarm{Alarm: "broker", Subject: "bench-1", Until: in(-time.Second)},
		"too long":       request.ShelveAlarm{Alarm: "broker", Subject: "bench-1", Until: in(13 * time.Hour)},
		"no such":        request.ShelveAlarm{Alarm: "brokers", Subject: "bench-1", Until: in(time.Hour)},
		"no such thing":  request.ShelveAlarm{Alarm: "broker", Subject: "bench-2", Until: in(time.Hour)},
		"not on a shelf": request.UnshelveAlarm{Alarm: "broker", Subject: "bench-1"},
		"not standing":   request.UnshelveAlarm{Alarm: "clock", Subject: "bench-1"},
	} {
		if body, refusal := s.asks(wrong); refusal == nil || refusal.Detail == "" {
			t.Errorf("%s: %s, want a refusal that says why", name, body)
		}
	}
	until := in(time.Hour)
	if _, refusal := s.asks(request.ShelveAlarm{Alarm: "broker", Subject: "bench-1", Until: until, Reason: "moving the router"}); refusal != nil {
		t.Fatal(refusal)
	}
	a := s.is(alarm.Shelved, "broker", "bench-1")
	if a.Until == nil || !a.Until.Equal(until) || a.By != "tester" || a.Text != "moving the router" {
		t.Errorf("shelved %+v, want until, by and why", a)
	}
	s.goes(time.Minute, both(mild))
	s.crash()
	c.turn(30 * time.Minute)
	s = openShop(t, dir, c)
	defer func() { s.crash() }()
	s.publishing(Publishing{Fault: "refused"})
	s.goes(27*time.Minute, both(mild))
	s.is(alarm.Shelved, "broker", "bench-1")
	s.goes(3*time.Minute, both(mild))
	s.is(alarm.Unacknowledged, "broker", "bench-1")
	s.acknowledge("broker", "bench-1")

	if _, refusal := s.asks(request.ShelveAlarm{Alarm: "broker", Subject: "bench-1", Until: in(time.Hour)}); refusal != nil {
		t.Fatal(refusal)
	}
	body, refusal := s.asks(request.UnshelveAlarm{Alarm: "broker", Subject: "bench-1"})
	var v view.Alarm
	if refusal != nil || json.Unmarshal(body, &v) != nil || v.State != "normal" {
		t.Fatalf("taken off the shelf: %s (%v)", body, refusal)
	}
	s.goes(time.Second, both(mild))
	s.is(alarm.Unacknowledged, "broker", "bench-1") // it says so again: there still is a cause
	want := []string{
		"raised by bench", "shelved by tester", "unshelved by bench", "raised by bench", "acknowledged by tester",
		"shelved by tester", "unshelved by tester", "raised by bench",
	}
	if got := s.alarmEvents("broker", "bench-1"); !slices.Equal(got, want) {
		t.Errorf("events %v, want %v", got, want)
	}
}

func TestMaintenance(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	until := s.b.clock.now().Add(2 * time.Hour)
	for name, wrong := range map[string]request.Change{
		"no reason":  request.TakeOutOfService{Sensor: "bench-air", Until: until, Reason: "  "},
		"no end":     request.TakeOutOfService{Sensor: "bench-air", Reason: "salt"},
		"no such":    request.TakeOutOfService{Sensor: "press-1", Until: until, Reason: "salt"},
		"in service": request.PutInService{Sensor: "bench-air"},
	} {
		if body, refusal := s.asks(wrong); refusal == nil || refusal.Detail == "" {
			t.Errorf("%s: %s, want a refusal that says why", name, body)
		}
	}
	body, refusal := s.asks(request.TakeOutOfService{Sensor: "bench-air", Until: until, Reason: "in the salt jar"})
	var v view.Sensor
	if refusal != nil || json.Unmarshal(body, &v) != nil || v.OutOfService == nil || !v.OutOfService.Equal(until) {
		t.Fatalf("answer %s (%v)", body, refusal)
	}
	salt := &air.State{TemperatureC: 20, HumidityPct: 97}
	s.goes(5*time.Minute, rooms{"bench-air": salt, "hall-air": mild})
	s.goes(10*time.Minute, rooms{"hall-air": mild})
	if a := s.is(alarm.OutOfService, "sensor-stale", "bench-air"); a.By != "tester" || a.Text != "in the salt jar" {
		t.Errorf("out of service by %q: %q", a.By, a.Text)
	}
	s.is(alarm.Suppressed, "air-out-of-range", "bench") // 97 % of a jar are not the room's
	if _, refusal := s.asks(request.ShelveAlarm{Alarm: "sensor-stale", Subject: "bench-air", Until: until}); refusal == nil || refusal.Kind != request.NotNow {
		t.Errorf("shelving what is under maintenance: %v, want it refused as not now", refusal)
	}
	if _, refusal := s.asks(request.PutInService{Sensor: "bench-air"}); refusal != nil {
		t.Fatal(refusal)
	}
	s.goes(time.Second, rooms{"hall-air": mild})
	s.is(alarm.Unacknowledged, "sensor-stale", "bench-air")
	s.is(alarm.Normal, "sensor-implausible", "bench-air")

	if _, refusal := s.asks(request.TakeOutOfService{Sensor: "scale-1", Until: s.b.clock.now().Add(time.Minute), Reason: "being moved"}); refusal != nil {
		t.Fatal(refusal)
	}
	s.is(alarm.OutOfService, "scale-silent", "scale-1")
	s.goes(2*time.Minute, both(mild))
	s.is(alarm.Unacknowledged, "scale-silent", "scale-1") // its time is over, and it never spoke
}

func TestSlowJournal(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	s.b.decide(s.b.clock.now(), "tester", record.Stopped{})
	s.b.flush() // and nobody writes it
	for range 6 {
		s.clock.turn(time.Second)
		s.b.tick(s.b.clock.now())
	}
	if a, ok := s.b.state.Alarms[record.AlarmKey{Name: "journal", Subject: "bench-1"}]; !ok || !strings.Contains(a.Text, "slow") {
		t.Fatalf("alarm %+v", a)
	}
	s.settle()
	s.goes(12*time.Second, both(mild))
	s.overOnceSeen("journal", "bench-1")
}

// TestALightFlashesUntilSomebodyHasSeen: also when the cause is gone by then.
func TestALightFlashesUntilSomebodyHasSeen(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(time.Minute, both(mild))
	id := s.records("dial-satin", 60, 20, 8)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.must(request.ConfirmStep{Batch: id, Step: "load", Override: "for a test print"})
	if _, refusal := s.asks(request.ShelveAlarm{Alarm: "ratio-off", Subject: id, Until: s.b.clock.now().Add(time.Hour)}); refusal != nil {
		t.Fatal(refusal)
	}
	s.goes(time.Second, both(mild))
	if l := s.light("light-1"); l.Flashing {
		t.Error("it flashes for what was put aside")
	}
	bad := s.records("dial-satin", 60, 20, 8)
	s.must(request.LoadBatch{Batch: bad, Press: "press-1", Replace: true})
	s.goes(time.Second, both(mild))
	if l := s.light("light-1"); !l.Flashing {
		t.Error("nobody has seen it, and it does not flash")
	}
	s.must(request.ConfirmStep{Batch: bad, Step: "load", Override: "for a test print"})
	s.goes(10*time.Second, both(mild))
	s.is(alarm.Returned, "ratio-off", bad)
	if l := s.light("light-1"); l.Flashing {
		t.Error("it flashes for an alarm that is over: nothing at the press is to be done")
	}
	s.acknowledge("ratio-off", bad)
	if l := s.light("light-1"); l.Flashing {
		t.Error("it flashes although everything was seen")
	}
}

// A certificate that ends within two weeks raises an alarm, which is over once it was renewed.
func TestCertificateAlarm(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	end := s.b.Snapshot().At.Add(alarm.CertificateNotice + time.Hour)
	s.publishing(Publishing{Certificate: CertificateEnd{Key: "broker.cert_file", File: "/etc/broker.pem", At: end}})
	s.goes(10*time.Second, both(mild))
	s.is(alarm.Normal, "certificate", "bench-1")
	s.publishing(Publishing{Certificate: CertificateEnd{Key: "broker.cert_file", File: "/etc/broker.pem", At: end.Add(-2 * time.Hour)}})
	s.goes(5*time.Second, both(mild))
	if a := s.is(alarm.Unacknowledged, "certificate", "bench-1"); !strings.Contains(a.Text, "broker.cert_file") || !strings.Contains(a.Detail, "/etc/broker.pem") {
		t.Errorf("the alarm says %q, %q", a.Text, a.Detail)
	}
	s.publishing(Publishing{Certificate: CertificateEnd{At: end.AddDate(1, 0, 0)}})
	s.goes(2*time.Minute, both(mild))
	s.is(alarm.Returned, "certificate", "bench-1")
}

// A disk that is nearly full raises an alarm long before records cannot be saved. It is over once there is room, with some
// to spare; a disk that cannot be asked raises none.
func TestDiskAlarm(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	free := func(bytes int64) { s.publishing(Publishing{Free: &bytes}) }
	for _, known := range []func(){func() { s.publishing(Publishing{}) }, func() { free(alarm.LeastFree + 1) }} {
		known()
		s.goes(2*time.Minute, both(mild))
		s.is(alarm.Normal, "disk", "bench-1")
	}
	free(alarm.LeastFree / 2)
	s.goes(2*time.Minute, both(mild))
	if a := s.is(alarm.Unacknowledged, "disk", "bench-1"); !strings.Contains(a.Text, "128 MiB") {
		t.Errorf("the alarm says %q", a.Text)
	}
	free(alarm.LeastFree + alarm.LeastFree/8)
	s.goes(2*time.Minute, both(mild))
	s.is(alarm.Unacknowledged, "disk", "bench-1")
	free(2 * alarm.LeastFree)
	s.goes(2*time.Minute, both(mild))
	s.is(alarm.Returned, "disk", "bench-1")
}

// The plant's broker has an alarm of its own, which changes nothing in the hall.
func TestAlarmOfThePlantsBroker(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	before := s.light("light-1")
	s.publishing(Publishing{Plant: "connection refused", PlantWaiting: 20})
	s.goes(20*time.Second, both(mild))
	s.is(alarm.Normal, "plant", "bench-1")
	s.goes(20*time.Second, both(mild))
	if a := s.is(alarm.Unacknowledged, "plant", "bench-1"); a.Priority != string(alarm.Low) || a.Detail != "connection refused" {
		t.Errorf("the alarm is %+v", a)
	}
	for _, name := range []string{"broker", "queue", "other-instance"} {
		s.is(alarm.Normal, name, "bench-1")
	}
	if l := s.light("light-1"); l.Flashing || l.Meaning != before.Meaning {
		t.Errorf("the lamp shows %+v, before %+v", l, before)
	}
	s.publishing(Publishing{PlantWaiting: 30000}) // it is back, and does not have all of it yet
	s.goes(20*time.Second, both(mild))
	s.is(alarm.Unacknowledged, "plant", "bench-1")
	s.publishing(Publishing{PlantWaiting: 10})
	s.goes(20*time.Second, both(mild))
	s.overOnceSeen("plant", "bench-1")
	s.publishing(Publishing{PlantWaiting: 1200}) // it takes less than comes
	s.goes(40*time.Second, both(mild))
	if a := s.is(alarm.Unacknowledged, "plant", "bench-1"); !strings.Contains(a.Text, "1200 messages") {
		t.Errorf("the alarm says %q", a.Text)
	}
}
