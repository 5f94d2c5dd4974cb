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

// TestPictureOfANewBench: a month of which the bench has recorded three hours is drawn in quarter-hours.
func TestPictureOfANewBench(t *testing.T) {
	begin := noon.Add(-3 * time.Hour)
	var asked []time.Duration
	read := func(step Step) (rows []Air, err error) {
		asked = append(asked, step.every)
		for at := begin.Truncate(step.every); at.Before(noon); at = at.Add(step.every) {
			rows = append(rows, Air{Time: at, To: at.Add(step.every)})
		}
		return rows, nil
	}
	rows, err := PictureOf(noon.AddDate(0, 0, -30), noon, time.UTC, read)
	if err != nil || len(rows) != 12 || asked[0] != 6*time.Hour {
		t.Errorf("%d rows, %v, asked for steps of %v; want 12 of a quarter-hour after one of 6 h", len(rows), err, asked)
	}
	none := func(Step) ([]Air, error) { return nil, nil }
	if rows, err := PictureOf(noon.AddDate(0, 0, -30), noon, time.UTC, none); len(rows) != 0 || err != nil {
		t.Errorf("nothing recorded: %v, %v", rows, err)
	}
	failing := errors.New("closed")
	if _, err := PictureOf(begin, noon, time.UTC, func(Step) ([]Air, error) { return nil, failing }); !errors.Is(err, failing) {
		t.Errorf("%v, want the error of read", err)
	}
}
