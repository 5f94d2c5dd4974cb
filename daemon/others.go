package daemon

import (
	"time"

	"potlifed/daemon/mqtt"
	"potlifed/daemon/neighbours"
)

// others makes the store of what other benches say of their presses.
func (s *service) others() *neighbours.Store {
	return neighbours.New(s.Shop.Others, func() (time.Time, time.Duration) {
		snap, mono := s.bench.Snapshot(), s.Clock.Now().Mono
		return snap.At.Add(mono - snap.Mono), mono
	})
}

// hears makes the reader that fills that store, where there are other benches to read.
func (o *outlet) hears(settings mqtt.Settings, s *service) {
	if len(s.Shop.Others) > 0 {
		o.reader = mqtt.NewNeighbourReader(settings, s.Shop.Others, s.neighbours, s.Log)
	}
}
