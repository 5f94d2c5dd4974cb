package bench

import (
	"maps"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/lifecycle"
)

// undoWithin is how long something can be taken back: the ten seconds that the page
// shows, and what a slow network takes.
const undoWithin = 13 * time.Second

// undo takes back what was done to a batch a moment ago, as long as nothing later has
// touched what it touched.
func (b *Bench) undo(now time.Time, by actor.Name, c request.Undo) (any, error) {
	if _, known := b.state.Find(c.Batch); !known {
		return nil, request.Refuse(request.NotFound, "no such batch", "there is no batch %q", c.Batch)
	}
	d, ok := b.state.Undoable(c.Seq)
	if _, about := d.Batches[c.Batch]; !ok || !about || now.Sub(d.At) > undoWithin {
		return nil, refuseAs("too-late", "too late",
			"what was done to batch %s cannot be taken back any more: it was more than ten seconds ago, or something has happened since to what it touched", c.Batch).Saying("undo-too-late")
	}
	for _, batch := range d.Batches {
		if batch == nil {
			continue
		}
		b.closeAir(batch.Zone, now)
	}
	b.decide(now, by, record.Undone{
		Batch: c.Batch, Undoes: d.Seq, Of: d.Kind,
		Batches: slices.Sorted(maps.Keys(d.Batches)), Presses: slices.Sorted(maps.Keys(d.Presses)), Cans: slices.Sorted(maps.Keys(d.Cans)),
	})
	for _, batch := range d.Batches {
		if batch != nil && batch.Phase == lifecycle.Mixing && b.scales[batch.Scale] != nil {
			b.scales[batch.Scale].forget() // nobody has followed its cup meanwhile
		}
	}
	return b.viewOf(c.Batch, now)
}
