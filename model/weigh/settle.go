package weigh

import (
	"math"
	"time"
)

// longestGap is the silence after which unmarked readings no longer belong to
// one run: what happened in between is not known.
const longestGap = 3 * time.Second

// longestRun bounds the memory of a scale that floods the line.
const longestRun = 512

// Settler decides whether a weight has settled.
//
// With a stability mark: settled when the newest reading is marked stable and
// the one before it, whatever its mark, agrees within one division. The mark is
// believed, but not on one reading: a line that lost its first byte shows
// 2.50 g stable where 12.50 g stand.
//
// Without a mark: settled when the readings of at least one second, none more
// than three seconds from the next, lie within one division of each other. A
// drip slower than a division a second is therefore taken as settled, and a
// scale that has no mark and speaks only on change never settles.
//
// A reading that is marked as moving, carries no weight, or is over or under
// range unsettles at once. The zero value is not usable; see [NewSettler].
type Settler struct {
	divisionG float64
	run       []Reading // unmarked readings within one division, oldest first
	last      Reading
	haveLast  bool
	settled   bool
}

// NewSettler returns a settler for a scale with the given division, in grams.
func NewSettler(divisionG float64) *Settler { return &Settler{divisionG: divisionG} }

// Observe takes in the next reading.
func (s *Settler) Observe(r Reading) {
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

// Settled returns the newest reading if the weight has settled.
func (s *Settler) Settled() (grams float64, ok bool) {
	if !s.settled {
		return 0, false
	}
	return s.last.Grams, true
}

func (s *Settler) forget() {
	s.run = s.run[:0]
	s.haveLast, s.settled = false, false
}

func (s *Settler) near(a, b float64) bool {
	return math.Abs(a-b) <= s.divisionG+slack(s.divisionG)
}

// extend adds an unmarked reading to the run. Invariant: the run's readings lie
// within one division of each other, and the run is no longer than it must be
// to span a second.
func (s *Settler) extend(r Reading) {
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

func (s *Settler) span() float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range s.run {
		low, high = math.Min(low, x.Grams), math.Max(high, x.Grams)
	}
	return high - low
}
