package viscosity

import (
	"slices"
	"time"
)

const (
	// windowMinutes is how many minutes one sample of a trend is the median of, and leastMinutes how many of them
	// must have a value.
	windowMinutes, leastMinutes = 10, 5
	// mostOfMinute bounds the values of a minute that are kept: one a second.
	mostOfMinute = 60
	// stuckAfter is how long an instrument may give one and the same value, and leastSame how often: ink that
	// thickens and a drive that turns always move it a little. An assumption.
	stuckAfter = time.Hour
	leastSame  = 10
)

// Window collects the values of an instrument that follows a batch. Instants are durations on a clock that does not
// jump. The zero Window is empty.
type Window struct {
	minute  time.Duration // the minute that values are of
	values  []float64
	minutes []minuteOfTrend

	last  float64
	since time.Duration // since when it is the last value
	at    time.Duration // of the newest value
	same  int
}

type minuteOfTrend struct {
	at                     time.Duration
	median, least, largest float64
}

// Add takes in a value above 0.
func (w *Window) Add(x float64, at time.Duration) {
	if minute := at.Truncate(time.Minute); minute != w.minute || len(w.values) == 0 {
		w.close()
		w.minute = minute
	}
	if len(w.values) < mostOfMinute {
		w.values = append(w.values, x)
	}
	if w.same == 0 || x != w.last {
		w.last, w.since, w.same = x, at, 0
	}
	w.same++
	w.at = at
}

// close makes the values of a minute one.
func (w *Window) close() {
	if len(w.values) == 0 {
		return
	}
	w.minutes = append(w.minutes, minuteOfTrend{w.minute, median(w.values), slices.Min(w.values), slices.Max(w.values)})
	w.minutes = w.minutes[max(0, len(w.minutes)-windowMinutes):]
	w.values = w.values[:0]
}

// Take returns the median of the minutes before now, and the standard deviation of its logarithm. ok is false when
// too few minutes have a value, or when all values are one and the same: then the instrument may have stuck.
func (w *Window) Take(now time.Duration) (middle, noise float64, ok bool) {
	if now.Truncate(time.Minute) != w.minute {
		w.close()
	}
	var medians, apart []float64
	var least, largest float64
	for _, m := range w.minutes {
		if now-m.at > windowMinutes*time.Minute {
			continue
		}
		if len(medians) == 0 {
			least, largest = m.least, m.largest
		}
		least, largest = min(least, m.least), max(largest, m.largest)
		medians = append(medians, m.median)
	}
	if len(medians) < leastMinutes || least == largest {
		return 0, 0, false
	}
	middle = median(slices.Clone(medians))
	for _, m := range medians {
		apart = append(apart, max(m-middle, middle-m)/middle)
	}
	return middle, noiseOfMedian(median(apart), len(medians)), true
}

// Same returns how long the value has been one and the same, and whether that is so long that the instrument has
// stuck.
func (w *Window) Same() (d time.Duration, stuck bool) {
	if w.same == 0 {
		return 0, false
	}
	d = w.at - w.since
	return d, d >= stuckAfter && w.same >= leastSame
}

// median returns the middle of some values, and sorts them.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}
