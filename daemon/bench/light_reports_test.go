package bench

import (
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/alarm"
	"potlifed/model/light"
)

// hears lets a lamp say how it stands.
func (s *shop) hears(light string, w light.Report) { s.enter(lightReport{light, w}) }

func (s *shop) mono() time.Duration { return s.clock.is.Mono }

func TestSilentLamp(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	defer func() { s.crash() }()
	s.goes(20*time.Second, both(mild))
	if l := s.light("light-1"); l.Confirmation != "" || l.ConfirmedAt != nil {
		t.Errorf("a lamp that does not report back: %+v", l)
	}
	if l := s.light("light-2"); l.Confirmation != light.ReportWaiting || l.ConfirmedAt != nil {
		t.Errorf("a lamp that was not heard of yet: %+v", l)
	}
	told := s.mono()
	s.hears("light-2", light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: told})
	s.goes(8*time.Second, both(mild))
	s.is(alarm.Normal, "light-silent", "light-2")
	s.goes(4*time.Second, both(mild))
	s.is(alarm.Unacknowledged, "light-silent", "light-2")
	if l := s.light("light-2"); l.Confirmation != light.ReportSilent {
		t.Errorf("a silent lamp: %+v", l)
	}
	if l := s.light("light-2"); l.Flashing {
		t.Error("a light flashes for an alarm of a lamp, which is no press's")
	}

	// The broker goes: nothing new is known of the lamp.
	s.publishing(Publishing{Fault: "refused"})
	s.hears("light-2", light.Report{})
	s.goes(20*time.Second, both(mild))
	s.is(alarm.Unacknowledged, "broker", "bench-1")
	s.is(alarm.Unacknowledged, "light-silent", "light-2")

	// A restart: it is silent until it has confirmed.
	s.crash()
	c.turn(time.Minute)
	s = openShop(t, dir, c)
	s.goes(20*time.Second, both(mild))
	s.hears("light-2", light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: s.mono()})
	s.goes(5*time.Second, both(mild))
	s.is(alarm.Unacknowledged, "light-silent", "light-2")
	s.hears("light-2", light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: s.mono()})
	s.goes(10*time.Second, both(mild))
	if l := s.light("light-2"); l.Confirmation != light.ReportConfirmed || l.ConfirmedAt == nil || s.b.clock.now().Sub(*l.ConfirmedAt).Round(time.Second) != 10*time.Second {
		t.Errorf("a lamp that confirmed 10 s ago: %+v at %v", l, s.b.clock.now())
	}
	s.overOnceSeen("light-silent", "light-2")
}

// TestLampIsNotBlamedForTheBroker: while the broker is away only that is an alarm, and
// a lamp that is told again when it is back has its time again.
func TestLampIsNotBlamedForTheBroker(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	s.hears("light-2", light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: s.mono()})
	s.hears("light-2", light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: s.mono(), Unanswered: true, UnansweredSince: s.mono()})
	s.goes(3*time.Second, both(mild))
	s.publishing(Publishing{Fault: "refused"})
	s.hears("light-2", light.Report{Confirmed: true, ConfirmedAt: s.mono()})
	s.goes(5*time.Minute, both(mild))
	s.is(alarm.Unacknowledged, "broker", "bench-1")
	s.is(alarm.Normal, "light-silent", "light-2")
	s.publishing(Publishing{})
	s.hears("light-2", light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: s.mono()})
	s.goes(9*time.Second, both(mild))
	s.is(alarm.Normal, "light-silent", "light-2")
	s.hears("light-2", light.Report{Acknowledged: true, Confirmed: true, ConfirmedAt: s.mono()})
	s.goes(time.Minute, both(mild))
	s.is(alarm.Normal, "light-silent", "light-2")
}

func TestLampThatLies(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	s.hears("light-2", light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: s.mono(), Says: "in-order"})
	s.goes(12*time.Second, both(mild))
	if a := s.is(alarm.Unacknowledged, "light-silent", "light-2"); !strings.Contains(a.Detail, `reports "in-order"`) {
		t.Errorf("text %q does not say what it says", a.Text)
	}
	if l := s.light("light-2"); l.Says != "in-order" || l.Confirmation != light.ReportSilent {
		t.Errorf("light %+v", l)
	}
	s.hears("light-2", light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: s.mono() - time.Minute, Unreadable: "the broker does not let potlifed read it"})
	s.goes(2*time.Second, both(mild))
	s.is(alarm.Unacknowledged, "light-silent", "light-2")
}

// TestLampThatIsRemoved: without the light there is nothing to be silent; a light that
// need not report back any more has no cause left.
func TestLampThatIsRemoved(t *testing.T) {
	for name, want := range map[string]alarm.State{
		"":                                      alarm.Normal,
		"  - {id: light-2, presses: [press-2]}": alarm.Returned,
	} {
		dir, c := t.TempDir(), newClock()
		s := openShop(t, dir, c)
		s.goes(20*time.Second, both(mild))
		s.hears("light-2", light.Report{Acknowledged: true, Unanswered: true, UnansweredSince: s.mono()})
		s.goes(12*time.Second, both(mild))
		s.is(alarm.Unacknowledged, "light-silent", "light-2")
		s.crash()
		const line = "  - {id: light-2, presses: [press-1, press-2], reads: [json], confirms: hall/light-2}"
		s = openShopOf(t, dir, c, strings.Replace(testShop, line, name, 1))
		s.goes(20*time.Second, both(mild))
		s.is(want, "light-silent", "light-2")
		s.crash()
	}
}

// TestDisputedBench: while another instance publishes for this bench, presses and lights say what
// lamps say then: unknown, whatever the bench knows.
func TestDisputedBench(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	s.must(request.LoadBatch{Batch: s.mixes(), Press: "press-1"})
	if p := s.press("press-1"); p.Light != light.InOrder {
		t.Fatalf("press-1 is %s", p.Light)
	}
	s.publishing(Publishing{OtherInstance: "another"})
	s.pass(time.Second, both(mild))
	snap := s.b.Snapshot()
	for _, p := range snap.Presses {
		if p.Light != light.Unknown || p.Cause != light.DuplicateInstance || p.Reason == "" {
			t.Errorf("%s: %s (%s, %q)", p.ID, p.Light, p.Cause, p.Reason)
		}
	}
	for _, l := range snap.Lights {
		if l.Meaning != light.Unknown || !l.Flashing || l.Colour != "yellow" {
			t.Errorf("%s: %s %s", l.ID, l.Meaning, l.Colour)
		}
	}
	s.publishing(Publishing{})
	s.pass(time.Second, both(mild))
	if p := s.press("press-1"); p.Light != light.InOrder {
		t.Errorf("press-1 is %s when the other instance is gone", p.Light)
	}
}
