package history

import "time"

// The most intervals that a span is cut into for a picture, and for an answer with the step auto.
const (
	pictureIntervals = 400
	autoIntervals    = 750
)

// PictureStep returns the step that cuts a span into a few hundred intervals of at least a
// quarter-hour, as a picture shows it.
func PictureStep(from, to time.Time) string { return finest(to.Sub(from), Quarter, pictureIntervals) }

// PictureOf returns the rows that read returns from from on, with the step of a picture of the span. Where the
// first row begins later, as on a new bench, the step is that of the time from it on, and read is asked from
// there: in steps so fine the whole span would have too many rows. Its error is that of read.
func PictureOf(from, to time.Time, zone *time.Location, read func(from time.Time, step Step) ([]Air, error)) ([]Air, error) {
	for text := PictureStep(from, to); ; {
		step, err := StepOf(text, zone)
		if err != nil {
			return nil, err
		}
		rows, err := read(from, step)
		if err != nil {
			return nil, err
		}
		first := to
		for _, r := range rows {
			if r.Time.Before(first) {
				first = r.Time
			}
		}
		finer := PictureStep(first, to)
		if len(rows) == 0 || !first.After(from) || finer == text {
			return rows, nil
		}
		text, from = finer, first
	}
}

// AutoStep returns the step that cuts a span into a few hundred intervals of at least a minute. Below a
// quarter-hour [StepOf] does not take it.
func AutoStep(from, to time.Time) string { return finest(to.Sub(from), time.Minute, autoIntervals) }

// finest returns the shortest step, of at least a duration, that cuts a span into at most so many intervals;
// a week where even days are more.
func finest(span, least time.Duration, most int) string {
	for _, step := range []time.Duration{time.Minute, 5 * time.Minute, Quarter, time.Hour, 6 * time.Hour} {
		if step >= least && span/step <= time.Duration(most) {
			return step.String()
		}
	}
	if span/(24*time.Hour) < time.Duration(most) {
		return "day"
	}
	return "week"
}
