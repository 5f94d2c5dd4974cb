package bench

import (
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/words"
	"potlifed/model/air"
	"potlifed/model/alarm"
)

// printsInMildAir opens a shop in which a batch has been on press-1 for half an hour, in mild air.
func printsInMildAir(t *testing.T) (*shop, string) {
	t.Helper()
	s := openShop(t, t.TempDir(), newClock())
	s.goes(time.Minute, both(mild))
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.goes(30*time.Minute, both(mild))
	return s, id
}

func TestLifeCutByAnotherAir(t *testing.T) {
	oneGoroutine(t)
	s, id := printsInMildAir(t)
	defer s.crash()
	before := s.batch(id).EndsAt.Expected
	s.goes(2*time.Minute, both(humid)) // a door
	s.goes(20*time.Minute, both(mild))
	s.is(alarm.Normal, "life-cut", id)
	s.goes(8*time.Minute, both(humid))
	a := s.is(alarm.Unacknowledged, "life-cut", id)
	earlier := before.Sub(s.batch(id).EndsAt.Expected)
	if earlier < 30*time.Minute {
		t.Fatalf("the end moved by %v: the air of this test is too dry", earlier)
	}
	for _, want := range []string{"50 %", "80 %", " min earlier"} {
		if !strings.Contains(plainly(a.Text), want) {
			t.Errorf("text %q does not say %q", a.Text, want)
		}
	}
	if !s.light("light-1").Flashing {
		t.Error("the light does not flash")
	}
	s.acknowledge("life-cut", id) // and plans by the new end
	s.goes(6*time.Minute, both(humid))
	s.is(alarm.Normal, "life-cut", id)
	s.goes(time.Hour, both(humid))
	s.is(alarm.Normal, "life-cut", id)
	if got := s.alarmEvents("life-cut", id); len(got) != 3 {
		t.Errorf("events %v, want three: said once, seen, over", got)
	}
	s.must(request.LoadBatch{Batch: id, Press: "press-2"}) // another place is no other air
	s.goes(time.Hour, both(humid))
	s.is(alarm.Normal, "life-cut", id)
}

// A further cut is heard again while nobody has acknowledged the first one, and the text has its
// figures; the same air goes on without another word.
func TestLifeCutAgain(t *testing.T) {
	oneGoroutine(t)
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.goes(time.Minute, both(mild))
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.goes(30*time.Minute, both(mild))
	s.goes(8*time.Minute, both(humid))
	first := s.is(alarm.Unacknowledged, "life-cut", id)
	if now := (words.Locale{}).Clock(first.Since, first.Since); !strings.Contains(first.Text, "as of "+now) {
		t.Errorf("text %q does not say that it is as of %s", first.Text, now)
	}
	s.goes(40*time.Minute, both(humid))
	if got := s.alarmEvents("life-cut", id); len(got) != 1 {
		t.Errorf("events %v in an air that stays as it is, want one", got)
	}
	steam := both(&air.State{TemperatureC: 32, HumidityPct: 84})
	s.goes(8*time.Minute, steam)
	second := s.is(alarm.Unacknowledged, "life-cut", id)
	if !second.Since.After(first.Since) || !strings.Contains(plainly(second.Text), "84 %") || strings.Contains(plainly(second.Text), "80 %") {
		t.Errorf("a further cut: raised at %v, %q; want it raised again with the newest figures", second.Since, second.Text)
	}
	n := len(s.alarmEvents("life-cut", id))
	s.goes(20*time.Minute, steam)
	if got := s.alarmEvents("life-cut", id); n > 3 || len(got) != n {
		t.Errorf("events %v, %d of them at first: an air that stays says it again", got, n)
	}
	// Nobody has seen it, and the service was restarted: a further cut is still heard.
	s.crash()
	s = openShop(t, dir, c)
	defer s.crash()
	s.goes(3*time.Minute, both(mild))
	s.is(alarm.Unacknowledged, "life-cut", id)
	s.goes(20*time.Minute, both(mild))
	n = len(s.alarmEvents("life-cut", id))
	s.goes(15*time.Minute, steam)
	s.is(alarm.Unacknowledged, "life-cut", id)
	if got := s.alarmEvents("life-cut", id); len(got) != n+1 {
		t.Errorf("events after a restart and a further cut: %v, want one more than %d", got, n)
	}
}

// The air is good again and nobody has acknowledged the alarm: its text has the end of now, and none of
// the figures that it was raised with.
func TestLifeCutIsOver(t *testing.T) {
	oneGoroutine(t)
	s, id := printsInMildAir(t)
	defer s.crash()
	s.goes(8*time.Minute, both(humid))
	raised := s.is(alarm.Unacknowledged, "life-cut", id)
	end := func(at time.Time) string { return (words.Locale{}).Clock(s.batch(id).EndsAt.Expected, at) }
	short := end(raised.Time)
	if strings.Count(raised.Text, short) != 1 {
		t.Errorf("the end of %s is not said once: %q", short, raised.Text)
	}
	if reason := s.light("light-1").Reason; !strings.Contains(reason, "Life got shorter") {
		t.Errorf("the light flashes, and its reason does not say for which alarm: %q", reason)
	}
	s.goes(20*time.Minute, both(mild))
	over := s.is(alarm.Returned, "life-cut", id)
	if strings.Contains(plainly(over.Text), "80 %") || strings.Count(over.Text, end(over.Time)+" now") != 1 || end(over.Time) == short {
		t.Errorf("the batch ends at %s, and the alarm says %q", end(over.Time), over.Text)
	}
	if reason := s.light("light-1").Reason; strings.Contains(reason, "Life got shorter") {
		t.Errorf("the alarm is over, and the light's reason says %q", reason)
	}
}

// Hours of a life that was cut come back, and some of it is spent: the alarm ends by itself once the batch lasts nearly
// as long as was promised, and no earlier.
func TestLifeCutIsRegained(t *testing.T) {
	oneGoroutine(t)
	s, id := printsInMildAir(t)
	defer s.crash()
	promised := s.batch(id).EndsAt.Expected
	steam := both(&air.State{TemperatureC: 32, HumidityPct: 84})
	s.goes(30*time.Minute, steam)
	s.is(alarm.Unacknowledged, "life-cut", id)
	told := promised.Sub(s.batch(id).EndsAt.Expected)
	s.goes(5*time.Minute, both(mild)) // not for long enough to be believed
	s.is(alarm.Unacknowledged, "life-cut", id)
	s.goes(15*time.Minute, both(mild))
	missing := promised.Sub(s.batch(id).EndsAt.Expected)
	if missing < 20*time.Minute || missing > told/4 {
		t.Fatalf("of %v that the life was shorter %v are missing: the air of this test is too mild, or too humid", told, missing)
	}
	s.is(alarm.Returned, "life-cut", id)
	if s.light("light-1").Flashing {
		t.Error("the light flashes for an alarm that is over")
	}
	s.goes(15*time.Minute, steam) // and is heard again
	s.is(alarm.Unacknowledged, "life-cut", id)
	s.goes(20*time.Minute, both(humid)) // most is still missing
	s.is(alarm.Unacknowledged, "life-cut", id)
}
