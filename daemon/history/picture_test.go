package history

import (
	"errors"
	"testing"
	"time"
)

func TestStepsForASpan(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		span          time.Duration
		picture, auto string
	}{
		{time.Hour, "15m0s", "1m0s"}, {day, "15m0s", "5m0s"}, {7 * day, "1h0m0s", "15m0s"}, {31 * day, "6h0m0s", "1h0m0s"},
		{365 * day, "day", "day"}, {500 * day, "week", "day"}, {5 * 365 * day, "week", "week"},
	} {
		to := noon.Add(c.span)
		if p, a := PictureStep(noon, to), AutoStep(noon, to); p != c.picture || a != c.auto {
			t.Errorf("%v: picture %s, auto %s; want %s and %s", c.span, p, a, c.picture, c.auto)
		}
	}
}

// TestPictureOfANewBench: a month, a year or more of which the bench has recorded three hours is drawn in
// quarter-hours.
func TestPictureOfANewBench(t *testing.T) {
	begin := noon.Add(-3 * time.Hour)
	var asked []time.Duration
	read := func(from time.Time, step Step) (rows []Air, err error) {
		asked = append(asked, step.every)
		if n := step.Intervals(from, noon, 20_000); n > 20_000 {
			return nil, tooMany(20_000)
		}
		for at := step.Begin(begin); at.Before(noon); at = step.Next(at) {
			rows = append(rows, Air{Time: at, To: step.Next(at)})
		}
		return rows, nil
	}
	for days, first := range map[int]time.Duration{30: 6 * time.Hour, 365: 0, 5 * 365: 0} { // days and weeks have no length
		asked = nil
		rows, err := PictureOf(noon.AddDate(0, 0, -days), noon, time.UTC, read)
		if err != nil || len(rows) != 12 || asked[0] != first {
			t.Errorf("%d days: %d rows, %v, asked for steps of %v; want 12 of a quarter-hour after one of %v", days, len(rows), err, asked, first)
		}
	}
	none := func(time.Time, Step) ([]Air, error) { return nil, nil }
	if rows, err := PictureOf(noon.AddDate(0, 0, -30), noon, time.UTC, none); len(rows) != 0 || err != nil {
		t.Errorf("nothing recorded: %v, %v", rows, err)
	}
	failing := errors.New("closed")
	if _, err := PictureOf(begin, noon, time.UTC, func(time.Time, Step) ([]Air, error) { return nil, failing }); !errors.Is(err, failing) {
		t.Errorf("%v, want the error of read", err)
	}
}
