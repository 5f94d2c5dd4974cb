package bench

import (
	"cmp"
	"slices"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// pressViews returns the rows of the presses. batches are the rows of the open batches.
func (b *Bench) pressViews(s record.State, signals map[string]light.Signal, batches []view.Batch, now time.Time) []view.Press {
	views := make([]view.Press, 0, len(b.shop.Presses))
	for _, p := range b.shop.Presses {
		var on view.Batch
		if i := slices.IndexFunc(batches, func(v view.Batch) bool { return v.ID == s.Presses[p.ID].Batch }); i >= 0 {
			on = batches[i]
		}
		views = append(views, b.pressRow(s, p, signals[p.ID], on, now))
	}
	return views
}

// pressView is a press as it is answered after a change.
func (b *Bench) pressView(now time.Time, id string) view.Press {
	p, err := b.shop.pressNamed(id)
	if err != nil {
		return view.Press{}
	}
	var on view.Batch
	if batch := b.state.Batches[b.state.Presses[id].Batch]; batch != nil {
		on = b.batchView(b.state, batch, now)
	}
	return b.pressRow(b.state, p, b.signal(b.state, b.pressFacts(b.state, now), p, now), on, now)
}

// pressRow returns the row of a press. on is the row of its open batch, zero if it has none.
func (b *Bench) pressRow(s record.State, p config.Press, signal light.Signal, on view.Batch, now time.Time) view.Press {
	v := view.Press{ID: p.ID, Zone: p.Zone, Cup: p.Cup, Place: b.shop.placeOn(p), RemainingS: on.RemainingS, Risk: on.Risk}
	b.showSignal(&v, signal)
	if cup, err := b.shop.cupFor(p.ID, ""); err == nil {
		v.InkMinimumG, v.FillMaximumG = cup.InkMinimumG, cup.FillMaximumG
	}
	b.addCounts(&v, s, now)
	ready, coming := b.mixesFor(s, p.ID, now)
	v.Next = cmp.Or(ready, coming)
	if id := s.Presses[p.ID].Batch; id != "" {
		v.Batch = &id
	}
	return v
}

// addCounts adds what a press has printed, and its rejects by each kind of defect.
func (b *Bench) addCounts(v *view.Press, s record.State, now time.Time) {
	today := b.shop.day(now)
	ofToday := func(c record.Count) uint64 {
		if c.Day == today {
			return c.Today
		}
		return 0
	}
	if c, counted := s.Prints[v.ID]; counted {
		v.PrintsTotal, v.PrintsToday = &c.Total, ofToday(c)
	}
	v.Defects = b.shop.defectKinds()
	for i := range v.Defects {
		d := &v.Defects[i]
		c := s.Defects[v.ID][d.Kind]
		d.Total, d.Today, d.Highest = c.Total, ofToday(c), c.Highest
	}
}
