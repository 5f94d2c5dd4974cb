package health

import (
	"testing"
	"time"

	"potlifed/model/air"
)

// The lines of a day are those since midnight, also where the reader of the scale began again.
func TestLinesOfADay(t *testing.T) {
	p := NewPan(0.1)
	p.Lines(7, 1) // before it was followed
	p.Lines(107, 6)
	p.Lines(20, 2) // begun again
	if d := p.EndDay(time.Hour); d.Lines != 120 || d.Rejected != 7 {
		t.Errorf("%d lines, %d rejected; want 120 and 7", d.Lines, d.Rejected)
	}
	p.Lines(30, 2)
	if d := p.EndDay(25 * time.Hour); d.Lines != 10 || d.Rejected != 0 {
		t.Errorf("the next day: %d lines, %d rejected; want 10 and 0", d.Lines, d.Rejected)
	}
}

// A gap counts from when the newest reading is too old, and midnight parts it between two days.
func TestGapsOfADay(t *testing.T) {
	w := Watch{StaleAfter: time.Minute}
	for _, at := range []time.Duration{0, time.Minute, 11 * time.Minute, 12 * time.Minute} {
		w.Add(air.State{TemperatureC: 20, HumidityPct: 50}, at, 12, "", nil)
	}
	if d := w.EndDay(22 * time.Minute); d.Oldest != 10*time.Minute || d.Down != 18*time.Minute {
		t.Errorf("oldest %v, down %v; want 10m, 9m and 9m", d.Oldest, d.Down)
	}
	w.Add(air.State{TemperatureC: 20, HumidityPct: 50}, 25*time.Minute, 0, "", nil)
	if d := w.EndDay(25 * time.Minute); d.Oldest != 13*time.Minute || d.Down != 3*time.Minute {
		t.Errorf("the next day: oldest %v, down %v; want 13m and 3m", d.Oldest, d.Down)
	}
	p := NewPan(0.1)
	p.StaleAfter = 10 * time.Second
	p.Add(0, true, 0)
	p.Add(0, true, time.Minute)
	if d := p.EndDay(time.Minute); d.Oldest != time.Minute || d.Down != 50*time.Second {
		t.Errorf("a scale: oldest %v, down %v", d.Oldest, d.Down)
	}
	if d := NewPan(0.1).EndDay(time.Hour); d.Oldest != 0 || d.Down != 0 {
		t.Errorf("a scale that was never heard: %+v", d)
	}
}
