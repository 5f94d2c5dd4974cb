package weigh

import (
	"slices"
	"time"
)

// lineRate is how often a scale sends a reading while it sends any: the median of the last
// intervals. Neither the silence of a scale that sends changes only nor lines that arrive late
// and all at once move the median.
type lineRate struct {
	intervals [31]time.Duration
	n         int
}

func (l *lineRate) add(d time.Duration) {
	if d >= 0 && d <= longestGap {
		l.intervals[l.n%len(l.intervals)] = d
		l.n++
	}
}

// every returns the usual interval, 0 before any is known.
func (l *lineRate) every() time.Duration {
	known := slices.Clone(l.intervals[:min(l.n, len(l.intervals))])
	if len(known) == 0 {
		return 0
	}
	slices.Sort(known)
	return known[len(known)/2]
}
