package bench

import "time"

func some(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
