package weigh

import (
	"math"
	"time"
)

// longestGap is the longest time between two readings without a mark that belong to one run.
// What happened in a longer gap is not known.
const longestGap = 3 * time.Second

// longestRun is how many readings a run stores at most, for a scale that sends very fast.
const longestRun = 512

// settler decides whether a weight has settled.
//
// With a stability mark, the weight is settled when the newest reading is marked stable and
// agrees with the one before it within one division, whatever mark that one has. One reading is
// not enough: a line that lost its first byte shows 2.50 g stable instead of 12.50 g.
//
// Without a mark, the weight is settled when the readings of at least one second lie within one
// division of each other, with at most three seconds from one to the next. A drip that is slower
// than a division per second therefore counts as settled. A scale that has no mark and sends
// only changes never settles.
//
// A reading that is marked as moving, has no weight, or is over or under range makes the weight
// unsettled at once. The zero value is not usable; see [newSettler].
type settler struct {
	divisionG float64
	run       []Reading // unmarked readings within one division, oldest first
	last      Reading
	haveLast  bool
	settled   bool
}

// newSettler returns a settler for a scale with the given division in g.
func newSettler(divisionG float64) *settler { return &settler{divisionG: divisionG} }

// observe records the next reading.
func (s *settler) observe(r Reading) {
	if _, ok := r.weight(); !ok {
		s.forget()
		return
	}
	if s.haveLast && r.At.Before(s.last.At) {
		s.forget()
	}
	agrees := s.haveLast && s.near(r.Grams, s.last.Grams)
	s.last, s.haveLast = r, true
	switch r.Stability {
	case Moving:
		s.run = s.run[:0]
		s.settled = false
	case Stable:
		s.run = s.run[:0]
		s.settled = agrees
	default:
		s.extend(r)
	}
}

// grams returns the newest reading. ok is false when the weight has not settled.
func (s *settler) grams() (grams float64, ok bool) {
	if !s.settled {
		return 0, false
	}
	return s.last.Grams, true
}

func (s *settler) forget() {
	s.run = s.run[:0]
	s.haveLast, s.settled = false, false
}

func (s *settler) near(a, b float64) bool {
	return math.Abs(a-b) <= s.divisionG+slack(s.divisionG)
}

// extend adds a reading without a mark to the run. Invariant: the readings of the run lie within
// one division of each other, and the run is no longer than it must be to span a second.
func (s *settler) extend(r Reading) {
	if n := len(s.run); n > 0 && r.At.Sub(s.run[n-1].At) > longestGap {
		s.run = s.run[:0]
	}
	keep := 0
	for i, x := range s.run {
		if !s.near(x.Grams, r.Grams) {
			keep = i + 1
		}
	}
	s.run = append(s.run[:0], s.run[keep:]...)
	s.run = append(s.run, r)
	for len(s.run) > 2 && r.At.Sub(s.run[1].At) >= steady {
		s.run = append(s.run[:0], s.run[1:]...)
	}
	if len(s.run) > longestRun {
		s.run = append(s.run[:1], s.run[2:]...)
	}
	s.settled = r.At.Sub(s.run[0].At) >= steady && s.span() <= s.divisionG+slack(s.divisionG)
}

func (s *settler) span() float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range s.run {
		low, high = math.Min(low, x.Grams), math.Max(high, x.Grams)
	}
	return high - low
}
