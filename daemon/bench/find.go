package bench

import (
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/lifecycle"
)

// openBatch finds a batch that is not closed.
func (b *Bench) openBatch(id string) (*record.Batch, error) {
	if batch, ok := b.state.Batches[id]; ok {
		return batch, nil
	}
	if batch, ok := b.state.Find(id); ok {
		return nil, request.Refuse(request.NotNow, "batch closed", "batch %s was closed as %s", batch.ID, batch.Outcome).Saying("batch-closed", "batch", batch.ID)
	}
	return nil, request.Refuse(request.NotFound, "no such batch", "there is no batch %q", id).Saying("no-batch", "batch", id)
}

// finished finds a batch that is open and mixed.
func (b *Bench) finished(id string) (*record.Batch, error) {
	batch, err := b.openBatch(id)
	if err != nil {
		return nil, err
	}
	if batch.Phase == lifecycle.Mixing {
		return nil, request.Refuse(request.NotNow, "not mixed yet", "batch %s waits for step %q; finish it first", batch.ID, batch.Mix.Step).Saying("not-mixed", "batch", batch.ID, "step", batch.Mix.Step)
	}
	return batch, nil
}

// scaleFor returns the scale with an id; an empty id is that of the only scale.
func (b *Bench) scaleFor(id string) (*scale, error) {
	if id == "" && len(b.shop.Scales) == 1 {
		id = b.shop.Scales[0].ID
	}
	s, ok := b.scales[id]
	if !ok {
		return nil, b.shop.noScale(id)
	}
	return s, nil
}

// viewOf is a batch as it is answered, after a change.
func (b *Bench) viewOf(id string, now time.Time) (any, error) {
	batch, ok := b.state.Find(id)
	if !ok {
		return nil, request.Refuse(request.NotFound, "no such batch", "there is no batch %q", id).Saying("no-batch", "batch", id)
	}
	v := b.batchView(b.state, batch, now)
	if b.write.failing != nil {
		v.OnDisk = new(bool)
	}
	return v, nil
}
