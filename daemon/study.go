package daemon

import (
	"math"
	"time"

	"potlifed/daemon/study"
)

// study returns what answers questions about rejects, from the history.
func (s *service) study() *study.Runner {
	now := func() time.Time { return s.bench.Snapshot().At }
	return study.NewRunner(study.Stored{History: s.history, Bench: s.Shop.Bench, Now: now, Open: s.open}, s.Shop.Zone(), now)
}

// open returns the batches that have not ended, of which the history has no row yet.
func (s *service) open() []study.Mix {
	var list []study.Mix
	for _, b := range s.bench.Snapshot().Batches {
		list = append(list, study.Mix{Batch: b.ID, Ink: b.Ink, At: s.bench.Snapshot().At, ThinnerPct: math.NaN(), RatioOffPct: math.NaN()})
	}
	return list
}
