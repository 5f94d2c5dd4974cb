package record

import (
	"maps"
	"slices"
	"sort"
	"time"

	"potlifed/model/lifecycle"
)

// End is how far a batch was when it ended. Both are absent for a mix without hardener, and in
// events of earlier versions.
type End struct {
	Age   *time.Duration `json:"age_ns,omitempty" doc:"age at the end"`
	Spent *float64       `json:"spent,omitempty" doc:"share of the pot life that was used up at the end; 1 is the nominal end"`
}

// EndOf returns how far a batch is at the end of its zone's last closed step.
func EndOf(b *Batch) End {
	if b == nil || b.Ensemble == nil {
		return End{}
	}
	age, spent := b.Ensemble.Age(), b.Ensemble.Spent()
	return End{&age, &spent}
}

// Ends are histograms of how far the batches with one outcome were at their end. They only grow:
// an end that is undone still counts.
type Ends struct {
	Count    uint64   `json:"count"`
	Spent    []uint64 `json:"spent"` // by upper limit, those above the last one at the end
	SpentSum float64  `json:"spent_sum"`
	Age      []uint64 `json:"age"`
	AgeSum   float64  `json:"age_sum"` // s
}

// The upper limits of the histograms. They are part of what checkpoints contain, so they never
// change.
var (
	spentLimits = []float64{0.1, 0.25, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2}
	ageLimits   = []float64{1800, 3600, 7200, 10800, 14400, 21600, 28800, 36000, 43200, 57600, 86400, 172800} // s
)

// SpentLimits returns the upper limits of [Ends.Spent], without the last, which is infinite.
func SpentLimits() []float64 { return slices.Clone(spentLimits) }

// AgeLimits returns the upper limits of [Ends.Age] in s, without the last, which is infinite.
func AgeLimits() []float64 { return slices.Clone(ageLimits) }

// countEnd adds an end to the histograms of its outcome.
func (s *State) countEnd(outcome lifecycle.Outcome, e End) {
	if e.Age == nil || e.Spent == nil {
		return
	}
	n := s.Ends[outcome]
	n.Count++
	n.Spent, n.SpentSum = counted(n.Spent, spentLimits, *e.Spent), n.SpentSum+*e.Spent
	n.Age, n.AgeSum = counted(n.Age, ageLimits, e.Age.Seconds()), n.AgeSum+e.Age.Seconds()
	s.Ends = maps.Clone(s.Ends)
	if s.Ends == nil {
		s.Ends = map[lifecycle.Outcome]Ends{}
	}
	s.Ends[outcome] = n
}

// counted returns a copy of a histogram with one more value.
func counted(histogram []uint64, limits []float64, x float64) []uint64 {
	more := make([]uint64, len(limits)+1)
	copy(more, histogram)
	more[sort.SearchFloat64s(limits, x)]++
	return more
}
