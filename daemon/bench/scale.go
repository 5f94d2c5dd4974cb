package bench

import (
	"fmt"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/model/cupmatch"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// scale is a scale with what its newest lines tell. It rebuilds itself after a
// start; what a guided mix needs of it is in the mix.
type scale struct {
	config.Scale
	clock   clock.Clock
	tracker *weigh.Tracker
	rise    *weigh.Rise
	cups    cupmatch.Matcher

	keyed      bool          // the print key was pressed in this run, and when last
	keyAt      time.Duration // CLOCK_BOOTTIME
	keyRefused *refusedKeyPress

	last   weigh.Reading // At is zero before the first
	lines  map[string]uint64
	linked bool
	detail string // why it is not
	since  time.Time
	is     health.Condition
}

func newScale(c config.Scale, by clock.Clock) *scale {
	s := &scale{Scale: c, clock: by, detail: "not opened yet", cups: cupmatch.New(c.DivisionG)}
	s.forget()
	return s
}

// forget drops what was followed: after a step of the clock, or when another mix
// begins on the scale.
func (s *scale) forget() {
	s.tracker, s.rise = weigh.NewTracker(s.DivisionG), weigh.NewRise(s.DivisionG)
	s.cups.Forget()
}

func (s *scale) shift(d time.Duration) {
	s.forget()
	if !s.last.At.IsZero() {
		s.last.At = s.last.At.Add(d)
	}
	if !s.since.IsZero() {
		s.since = s.since.Add(d)
	}
}

// A scale that streams sends a line several times a second. Its number is old after
// a few missing lines, and it is silent when no more come.
const (
	lineOld    = 3 * time.Second
	lineSilent = 10 * time.Second
)

// condition says how the scale is, and why.
func (s *scale) condition(now time.Time) (is health.Condition, why string) {
	switch {
	case !s.linked:
		return health.Down, s.detail
	case s.last.At.IsZero():
		return health.Waiting, "no line that can be read yet"
	case now.Sub(s.last.At) > clock.Lapse(s.clock, lineSilent):
		return health.Stale, fmt.Sprintf("no line that can be read for %s", now.Sub(s.last.At).Round(time.Second))
	}
	return health.Up, ""
}

// old reports whether the newest number is too old to count as what lies on the pan now.
func (s *scale) old(now time.Time) bool {
	return now.Sub(s.last.At) > clock.Lapse(s.clock, lineOld)
}
