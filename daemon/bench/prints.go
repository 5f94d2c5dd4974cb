package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// mostPrints bounds what one report may say: no press prints as much in its life.
const mostPrints = 1e12

func (b *Bench) countPrints(now time.Time, by actor.Name, c request.CountPrints) (any, error) {
	if _, err := b.shop.pressNamed(c.Press); err != nil {
		return nil, request.Refuse(request.NotFound, "no such press", "there is no press %q in the configuration", c.Press)
	}
	if (c.Total == nil) == (c.Add == nil) {
		return nil, request.Refuse(request.Invalid, "prints", `say either "total", what the counter stands at, or "add", how many were printed`)
	}
	for _, n := range []*uint64{c.Total, c.Add} {
		if n != nil && *n > mostPrints {
			return nil, request.Refuse(request.Invalid, "prints", "%d prints: want %d at most", *n, uint64(mostPrints))
		}
	}
	e := record.Printed{Press: c.Press, Batch: b.state.Presses[c.Press].Batch, Counter: c.Total}
	last := b.state.Prints[c.Press].Counter
	switch {
	case c.Add != nil:
		e.Add = *c.Add
	case last == nil: // its zero
	case *c.Total < *last:
		e.Add = *c.Total
	default:
		e.Add = *c.Total - *last
	}
	if e.Add > 0 || c.Total != nil && last == nil {
		b.decide(now, by, e)
	}
	return b.pressView(now, c.Press), nil
}

// pressView is a press as it is answered after a change.
func (b *Bench) pressView(now time.Time, id string) view.Press {
	var n view.Snapshot
	if batch := b.state.Batches[b.state.Presses[id].Batch]; batch != nil {
		n.Batches = append(n.Batches, b.batchView(b.state, batch, now))
	}
	b.pressViews(b.state, now, &n)
	for _, v := range n.Presses {
		if v.ID == id {
			return v
		}
	}
	return view.Press{}
}
