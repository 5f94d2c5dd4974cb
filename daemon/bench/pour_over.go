package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/weigh"
)

// pourOver begins to pour a mix into another cup, while its old one still stands on the scale; or ends that, when the
// mix stays in its old cup.
func (b *Bench) pourOver(now time.Time, by actor.Name, c request.PourMixOver) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	s := b.scales[batch.Scale]
	if s == nil {
		return nil, refuseAs(guide.NotOnScale, "not now", "batch %s was not mixed on a scale", batch.ID).Saying("not-on-a-scale", "batch", batch.ID)
	}
	if c.Undo == (c.Cup != "") {
		return nil, request.Refuse(request.Invalid, "pour over", `say either "cup", the kind of the new cup, or "undo": true`).Saying("cup-or-undo")
	}
	ask := guide.Confirm{Aside: batch.Aside()}
	if c.Undo || batch.Mix.Step != guide.PourOver { // the old cup is on the scale
		if ask, err = b.weighed(batch, "", now); err != nil {
			return nil, err
		}
		if err = s.cups.CheckKnown(); err != nil {
			return nil, err
		}
	}
	e := record.PourOverBegun{Batch: batch.ID, From: batch.Cup, To: c.Cup, WeightG: ask.WeightG, Undo: c.Undo}
	if c.Undo {
		e.Mix, err = batch.Mix.KeepCup(ask)
	} else {
		e.Mix, err = b.moved(s, batch, c, ask)
	}
	if err != nil {
		return nil, err
	}
	if e.Mix.Over != nil {
		e.EmptyG, e.NotTakenG = e.Mix.Over.To.EmptyG, e.Mix.Over.NotTakenG
	}
	b.closeAir(batch.Zone, now)
	b.decide(now, by, e)
	switch {
	case c.Undo:
		s.inCup(e.Mix.Pan)
	case batch.Mix.Step != guide.PourOver:
		s.cups.Known()
	}
	return b.viewOf(batch.ID, now)
}

// moved returns the mix as it waits for the new cup that a request names.
func (b *Bench) moved(s *scale, batch *record.Batch, c request.PourMixOver, ask guide.Confirm) (guide.Mix, error) {
	cup, err := b.shop.cupFor("", c.Cup)
	if err != nil {
		return batch.Mix, err
	}
	to := guide.OtherCup{Kind: cup.ID, MaximumG: cup.FillMaximumG, EmptyG: kindEmptyG(b.state, cup)}
	if c.EmptyG != nil {
		to.EmptyG = *c.EmptyG
	}
	next, err := batch.Mix.Move(to, ask)
	if err != nil {
		return batch.Mix, err
	}
	if on := to.EmptyG + next.ContentG(); on > s.CapacityG {
		return batch.Mix, request.Refuse(request.Invalid, "scale too small", "mix and cup weigh %.0f g; %s carries %v g", on, s.ID, s.CapacityG).Saying("scale-too-small", "on_g", on, "scale", s.ID, "capacity_g", s.CapacityG)
	}
	return next, nil
}

// pouredOver goes on with a mix in its new cup.
func (b *Bench) pouredOver(now time.Time, by actor.Name, batch *record.Batch, ask guide.Confirm, next guide.Mix) (any, error) {
	to := batch.Mix.Over.To
	cup, err := b.shop.cupFor("", to.Kind)
	if err != nil {
		return nil, err
	}
	ink, err := b.shop.inkNamed(batch.Ink)
	if err != nil {
		return nil, err
	}
	was, _ := batch.Mix.Shifted(ask.WeightG)
	b.closeAir(batch.Zone, now)
	b.decide(now, by, record.PouredOver{
		Batch: batch.ID, From: batch.Cup, To: to.Kind, EmptyG: to.EmptyG, WeightG: ask.WeightG,
		BeforeG: was.BeforeG, AfterG: was.AfterG, LostG: was.LostG, NotTakenG: next.Pan.PouredG(ask.WeightG),
		Override: ask.Override, Solvent: b.shop.solvent(ink, cup), Mix: next,
	})
	if s := b.scales[batch.Scale]; s != nil {
		s.inCup(next.Pan)
	}
	return b.viewOf(batch.ID, now)
}

// inCup begins to follow a cup in which a mix is now. When the weight rose is forgotten: that was no pour.
func (s *scale) inCup(p weigh.Pan) {
	s.rise = weigh.NewRise(s.DivisionG)
	s.taken(p)
}

// pourOverView is what is being poured over, nil when nothing is.
func pourOverView(m guide.Mix) *view.PourOver {
	if m.Step != guide.PourOver {
		return nil
	}
	v := &view.PourOver{Step: m.Over.From, Cup: m.Over.To.Kind, ContentG: m.ContentG(), NotTakenG: m.Over.NotTakenG, OldG: m.Pan.HeldG}
	if to := m.Over.To; to.EmptyG > 0 {
		whole := to.EmptyG + m.ContentG()
		v.EmptyG, v.WholeG = &to.EmptyG, &whole
	}
	return v
}

// kindEmptyG is what an empty cup of a kind weighs: as configured, else as weighed last; 0 when it is not known.
func kindEmptyG(s record.State, cup config.Cup) float64 {
	if cup.EmptyG > 0 {
		return cup.EmptyG
	}
	return s.CupEmptyG[cup.ID]
}

// otherCups are the kinds of cup that a mix can be poured into now, those with room for all that was taken.
func (b *Bench) otherCups(s record.State, m guide.Mix) []view.OtherCup {
	if m.ByHand || !m.Step.Pours() && !m.Step.Stirs() && m.Step != guide.PourOver {
		return nil
	}
	var cups []view.OtherCup
	for _, k := range b.shop.Cups {
		if k.FillMaximumG > 0 && k.FillMaximumG < m.Poured().TotalG() {
			continue
		}
		c := view.OtherCup{Cup: k.ID}
		if k.FillMaximumG > 0 {
			c.TakesG = &k.FillMaximumG
		}
		if empty := kindEmptyG(s, k); empty > 0 {
			c.EmptyG = &empty
		}
		cups = append(cups, c)
	}
	return cups
}
