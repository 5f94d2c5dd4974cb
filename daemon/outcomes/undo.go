package outcomes

import (
	"slices"

	"potlifed/daemon/record"
)

// keep stores the journeys of the batches that the newest event changed, as they were before it,
// for as long as it can be undone.
func (w *walk) keep(before record.State, was map[string]*journey) {
	if len(w.state.Undoables) == 0 && len(w.before) == 0 {
		return
	}
	kept := map[uint64]map[string]*journey{}
	for _, d := range w.state.Undoables {
		if known, ok := w.before[d.Seq]; ok {
			kept[d.Seq] = known
			continue
		}
		kept[d.Seq] = map[string]*journey{}
		for id := range d.Batches {
			if known, ok := w.before[before.Seq][id]; ok { // the first event of the change stored it
				kept[d.Seq][id] = known
			} else if j := was[id]; j != nil {
				kept[d.Seq][id] = j.clone()
			}
		}
	}
	w.before = kept
}

// undo restores the journeys of what was undone, and advances them over the air since then.
// Batches that the event had closed are open again.
func (w *walk) undo(before record.State, e record.Undone) {
	d, ok := before.Undoable(e.Undoes)
	if !ok {
		return
	}
	for id, old := range d.Batches {
		delete(w.journeys, id)
		j := w.before[e.Undoes][id]
		if j == nil || old == nil || old.Ensemble == nil {
			continue
		}
		_, steps := w.state.Path(old.Zone, old.MixedAt.Add(old.Ensemble.Age()))
		for _, s := range steps {
			j.Advance(old.Basis.Place, s)
		}
		w.journeys[id] = j
	}
	w.closed = slices.DeleteFunc(w.closed, func(b Batch) bool {
		_, open := w.state.Batches[b.ID]
		return open
	})
}
