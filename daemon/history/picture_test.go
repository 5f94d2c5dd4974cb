package history

import (
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
