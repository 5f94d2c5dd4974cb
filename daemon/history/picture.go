package history

import "time"

// PictureStep returns the step that cuts a span into a few hundred intervals of at least a
// quarter-hour, as a picture shows it.
func PictureStep(from, to time.Time) string {
	span := to.Sub(from)
	for _, step := range []time.Duration{Quarter, time.Hour, 6 * time.Hour} {
		if span/step <= 400 {
			return step.String()
		}
	}
	if span < 400*24*time.Hour {
		return "day"
	}
	return "week"
}
