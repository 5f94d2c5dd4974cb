package bench

import (
	"cmp"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/cupmatch"
	"potlifed/model/guide"
	"potlifed/model/health"
	"potlifed/model/lifecycle"
	"potlifed/model/weigh"
)

// waitingCups are the cups of the mixes that were set aside at a scale, by id.
func waitingCups(s record.State, scale string, now time.Time) []cupmatch.Cup {
	var all []cupmatch.Cup
	for _, batch := range s.Batches {
		if batch.Scale == scale && batch.Phase == lifecycle.Mixing && batch.Aside() {
			all = append(all, cupOf(batch, now))
		}
	}
	slices.SortFunc(all, func(x, y cupmatch.Cup) int { return cmp.Compare(x.ID, y.ID) })
	return all
}

// cupOf is the cup of a batch that was set aside.
func cupOf(batch *record.Batch, now time.Time) cupmatch.Cup {
	return cupmatch.Cup{ID: batch.ID, Mix: batch.Mix, Gross: batch.Mix.GrossG(now.Sub(batch.AsideAt))}
}

// weighedCup is the cup of the mix that is weighed on a scale, nil where none is.
func weighedCup(s record.State, scale string) *cupmatch.Cup {
	on := weighing(s, scale)
	if on == nil {
		return nil
	}
	return &cupmatch.Cup{ID: on.ID, Mix: on.Mix, Gross: on.Mix.GrossG(0)}
}

// recognise looks whose cup stands on a scale, and goes on with its mix once that is known.
func (b *Bench) recognise(s *scale, change weigh.Change, now time.Time) {
	g, settled := s.tracker.Settled()
	on, waiting := weighedCup(b.state, s.ID), waitingCups(b.state, s.ID, now)
	if on != nil && on.Mix.Step == guide.PourOver {
		waiting = nil // whatever is set down now, its mix is not gone on with before the pour-over is done
	}
	id := s.cups.See(s.last, g, settled, change, on, waiting)
	if id == "" {
		return
	}
	batch := b.state.Batches[id]
	b.decide(now, actor.Bench, record.TakenUp{
		Batch: batch.ID, Scale: s.ID, WeightG: g, Recognised: true,
		Expected: batch.Mix.GrossG(0).G, Mix: batch.Mix.TakenUp(g),
	})
	s.taken(weigh.NewPan(g))
}

// taken begins to follow the cup of a mix that was taken up. When the weight rose is
// remembered, since somebody may be pouring.
func (s *scale) taken(p weigh.Pan) {
	s.tracker.Forget()
	s.tracker.Observe(s.last, p) // it may be zero, which is what a cup comes back from
	s.cups.Known()
}

// takeUp takes up a mix that was set aside, or says that it is the one on the scale.
func (b *Bench) takeUp(now time.Time, by actor.Name, c request.TakeUp) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	s := b.scales[batch.Scale]
	if s == nil || batch.Press != "" {
		return nil, request.Refuse(request.NotNow, "not weighed", "batch %s waits for no scale", batch.ID).Saying("waits-for-no-scale", "batch", batch.ID)
	}
	on := weighing(b.state, s.ID)
	if !batch.Aside() {
		if slices.Contains(s.cups.Asked(), batch.ID) { // it is this one, as it was
			s.cups.Known()
			b.dirty = true
		}
		return b.viewOf(batch.ID, now)
	}
	g, settled := s.tracker.Settled()
	settled = settled && !s.old(now)
	// The answer to whose cup stands there is taken whatever the other needs. Once the pan may be empty
	// again, a mix with a pour that is not taken is not set aside: nobody would know what its cup weighs.
	answers := slices.Contains(s.cups.Open(), batch.ID)
	if on != nil && !answers && on.Mix.Weighs(g, settled) {
		return nil, request.Refuse(request.NotNow, "scale in use", "batch %s is being weighed on %s; confirm its %s first", on.ID, s.ID, on.Mix.Step).Saying("weighed-now", "batch", on.ID, "scale", s.ID, "step", on.Mix.Step)
	}
	next, err := b.resumed(s, batch, c, now)
	if err != nil {
		return nil, err
	}
	b.closeAir(batch.Zone, now)
	b.decide(now, by, record.TakenUp{
		Batch: batch.ID, Scale: s.ID, WeightG: s.last.Grams, Expected: batch.Mix.GrossG(0).G,
		Override: c.Override, Mix: next,
	})
	s.taken(next.Pan)
	return b.viewOf(batch.ID, now)
}

// resumed is a mix as it goes on after a person has taken it up.
func (b *Bench) resumed(s *scale, batch *record.Batch, c request.TakeUp, now time.Time) (guide.Mix, error) {
	cup := cupOf(batch, now)
	if next, resumed := s.cups.Resume(cup); resumed {
		return next, nil
	}
	if is, why := s.condition(now); is != health.Up {
		return batch.Mix, request.Refuse(request.NotNow, "scale silent", "scale %s: %s; see to the scale first", s.ID, why.text).Saying("scale-silent-first", "why", why.text)
	}
	g, settled := s.tracker.Settled()
	return s.cups.ResumeAt(cup, weighedCup(b.state, s.ID), g, settled && !s.old(now), c.Override)
}

// checkCup refuses to confirm what the scale shows while it is open whose cup that is.
func (b *Bench) checkCup(s *scale, batch *record.Batch, override string, now time.Time) error {
	return s.cups.CheckConfirm(batch.Mix, s.last.Grams, override, waitingCups(b.state, s.ID, now))
}

// weighing is the guided mix that is on the scale, nil when there is none. There is
// one at most; the others are set aside.
func weighing(s record.State, scale string) *record.Batch {
	var on *record.Batch
	for _, batch := range s.Batches {
		if batch.Scale == scale && batch.Phase == lifecycle.Mixing && !batch.Aside() && (on == nil || batch.ID < on.ID) {
			on = batch
		}
	}
	return on
}
