package bench

import (
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/cupmatch"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// scale is a scale with what its newest lines tell. It rebuilds itself after a
// start; what a guided mix needs of it is in the mix.
type scale struct {
	config.Scale
	words   words.Locale
	said    said
	clock   clock.Clock
	addedAt time.Duration // CLOCK_BOOTTIME when the configuration was reloaded with it; 0 at a start
	tracker *weigh.Tracker
	rise    *weigh.Rise
	cups    cupmatch.Matcher
	arrival *weigh.Arrival
	lifted  lifted
	pan     *health.Pan
	panAt   time.Duration // when pan was given a weight last, as CLOCK_BOOTTIME
	date    string        // of the day that pan is at
	panTime time.Duration // the same in real time: a scale settles no faster in a time lapse
	panHealth
	shown *view.Health // the same as it is shown

	byBench   bool          // a step was confirmed without a person in this run, and when last
	byBenchAt time.Duration // CLOCK_BOOTTIME

	keyed      bool          // the print key was pressed in this run, and when last
	keyAt      time.Duration // CLOCK_BOOTTIME
	keyRefused *refusedKeyPress

	last   weigh.Reading // At is zero before the first
	lines  map[string]uint64
	linked bool
	// unheard: no line came since the link was lost last. What lies on the pan may be something else by now.
	unheard bool
	fault   health.Fault // why it is not
	detail  string       // the error
	since   time.Time
	is      health.Condition
}

func newScale(c config.Scale, by clock.Clock, l words.Locale) *scale {
	s := &scale{Scale: c, words: l, clock: by, fault: health.NotOpened, cups: cupmatch.New(c.DivisionG), arrival: weigh.NewArrival(c.DivisionG), pan: health.NewPan(c.DivisionG)}
	s.forget()
	return s
}

// forget drops what was followed: after a step of the clock, or when another mix
// begins on the scale.
func (s *scale) forget() {
	s.tracker, s.rise = weigh.NewTracker(s.DivisionG), weigh.NewRise(s.DivisionG)
	s.cups.Forget()
	s.lifted = lifted{}
}

func (s *scale) shift(d time.Duration) {
	s.forget()
	s.arrival.Forget()
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
func (s *scale) condition(now time.Time) (is health.Condition, why trouble) {
	switch {
	case !s.linked:
		return health.Down, trouble{s.said.say(saidOf{key: "scale", fault: s.fault}, s.word), s.detail}
	case s.last.At.IsZero() || s.unheard:
		return health.Waiting, trouble{text: s.said.say(saidOf{key: "waiting"}, s.word)}
	case now.Sub(s.last.At) > clock.Lapse(s.clock, lineSilent):
		return health.Stale, trouble{text: s.said.say(saidOf{key: "stale", age: now.Sub(s.last.At)}, s.word)}
	}
	return health.Up, trouble{}
}

// word words what is wrong with the scale.
func (s *scale) word(of saidOf) string {
	switch of.key {
	case "scale":
		return s.words.Say("fault.scale-"+string(of.fault), "scale", s.ID)
	case "waiting":
		return s.words.Say("fault.weight-waiting", "scale", s.ID)
	}
	return s.words.Say("fault.weight-stale", "scale", s.ID, "time", s.words.Duration(of.age))
}

// old reports whether the newest number is too old to count as what lies on the pan now.
func (s *scale) old(now time.Time) bool {
	return now.Sub(s.last.At) > clock.Lapse(s.clock, lineOld)
}
