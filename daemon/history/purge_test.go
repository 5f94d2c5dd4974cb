package history

import (
	"testing"
	"time"

	"potlifed/daemon/instruments"
)

// weeksOfReadings records three weeks of a sensor, read each 20 s, and returns what is in use.
func (s *stand) weeksOfReadings() int64 {
	s.t.Helper()
	for second := 0; second < 21*24*3600; second += 20 {
		s.history.SensorRead(s.t.Context(), "hall-1", instruments.SensorReading{Air: roomAir(second)})
		s.mono += 20 * time.Second
		if len(s.history.in) > 1000 {
			s.history.drain()
		}
	}
	s.history.drain()
	s.save()
	return s.used()
}

func (s *stand) used() int64 {
	s.t.Helper()
	used, err := s.history.store.used(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	return used
}

// oldest returns the ages of the oldest reading and the oldest minute.
func (s *stand) oldest() (raw, minute time.Duration) {
	s.t.Helper()
	r, m, err := s.history.store.oldest(s.t.Context(), s.at())
	if err != nil {
		s.t.Fatal(err)
	}
	return s.at().Sub(r), s.at().Sub(m)
}

func (s *stand) purge(now time.Time, most int64) {
	s.t.Helper()
	if err := s.history.purge(s.t.Context(), now, most); err != nil {
		s.t.Fatal(err)
	}
}

// TestAFullHistoryLosesReadingsThenMinutes: one purge a day brings the file below any bound that leaves
// room for what is stored for good. The readings go first, and a day of them stays.
func TestAFullHistoryLosesReadingsThenMinutes(t *testing.T) {
	const day = 24 * time.Hour
	s := newStand(t)
	full := s.weeksOfReadings()
	s.purge(s.at(), full)
	raw, minute := s.oldest()
	if raw < 18*day || minute < 20*day {
		t.Fatalf("below the bound readings of %v and minutes of %v are left, want no more than two days removed", raw, minute)
	}
	for range 3 {
		s.purge(s.at(), full*9/10)
	}
	if raw, minute = s.oldest(); s.used() > full*9/10 || minute < 20*day || raw < 2*day {
		t.Errorf("of %d bytes %d are used, with readings of %v and minutes of %v: want readings removed, and no minutes", full, s.used(), raw, minute)
	}
	for range 21 {
		if raw, minute = s.oldest(); raw <= day {
			break
		}
		s.purge(s.at(), s.used()-1)
	}
	if raw > day || raw < day/2 || minute < 20*day {
		t.Fatalf("readings of %v and minutes of %v are left, want a day of readings and all minutes", raw, minute)
	}
	before := s.used()
	s.purge(s.at(), before-1)
	if next, left := s.oldest(); next != raw || minute-left < day/2 || minute-left > 3*day || s.used() >= before {
		t.Errorf("readings of %v and minutes of %v are left in %d bytes, want the oldest minutes of %v removed", next, left, s.used(), minute)
	}
}

// TestAClockSetAheadRemovesTwoDays: a full file loses no more by it than one that is not full.
func TestAClockSetAheadRemovesTwoDays(t *testing.T) {
	const day = 24 * time.Hour
	s := newStand(t)
	s.weeksOfReadings()
	raw, minute := s.oldest()
	s.purge(s.at().AddDate(10, 0, 0), 1)
	nextRaw, nextMinute := s.oldest()
	if raw-nextRaw > 3*day || minute-nextMinute > 3*day {
		t.Errorf("a purge left readings of %v and minutes of %v, want all of %v and %v but two days", nextRaw, nextMinute, raw, minute)
	}
}
