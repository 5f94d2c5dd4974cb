package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/cure"
	"potlifed/model/evaporate"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// spot is where a batch is to stand.
type spot struct {
	press, zone string
	place       cure.Place
	before      string // the batch that has to leave the press for it
}

// spotFor finds where somebody wants a batch to stand.
func (b *Bench) spotFor(press, zone string, exposure *float64, replace bool) (spot, error) {
	if exposure != nil && !(*exposure > 0 && *exposure <= 1) {
		return spot{}, badExposure(*exposure)
	}
	at := spot{press: press, zone: zone, place: benchPlace}
	switch {
	case (press == "") == (zone == ""):
		return at, request.Refuse(request.Invalid, "where", "say either press or zone")
	case press != "":
		p, err := b.shop.pressNamed(press)
		if err != nil {
			return at, err
		}
		at.zone, at.place, at.before = p.Zone, b.shop.placeOn(p), b.state.Presses[press].Batch
		if at.before != "" && !replace {
			return at, request.Refuse(request.NotNow, "press holds a batch", `%s holds batch %s; unload or close it, or say "replace": true`, press, at.before).Saying("press-holds", "press", press, "batch", at.before)
		}
	case b.zones[zone] == nil:
		return at, request.Refuse(request.Invalid, "no such zone", "there is no zone %q in the configuration", zone)
	}
	if exposure != nil {
		at.place.Exposure = *exposure
	}
	return at, nil
}

// makeRoom takes off what stands on the press of a spot.
func (b *Bench) makeRoom(at spot, now time.Time, by actor.Name) {
	if at.before != "" {
		b.takeOff(b.state.Batches[at.before], at.press, benchPlace, now, by)
	}
}

func (b *Bench) move(now time.Time, by actor.Name, c request.MoveBatch) (any, error) {
	batch, err := b.finished(c.Batch)
	if err != nil {
		return nil, err
	}
	if c.Press != "" && c.Press == batch.Press {
		c.Replace = true // it stands there already; its exposure may change
	}
	at, err := b.spotFor(c.Press, c.Zone, c.Exposure, c.Replace)
	if err != nil {
		return nil, err
	}
	if at.before == batch.ID {
		at.before = ""
	} else if err := b.lookedAt(batch, at.press, c.Looked, now); err != nil {
		return nil, err
	}
	b.closeAir(batch.Zone, now)
	b.closeAir(at.zone, now)
	b.makeRoom(at, now, by)
	b.foundGood(batch, c.Looked, now, by)
	if at.press != "" {
		b.decide(now, by, record.Loaded{Batch: batch.ID, Press: at.press, Zone: at.zone, Place: at.place})
	} else {
		b.decide(now, by, record.Moved{Batch: batch.ID, Press: batch.Press, Zone: at.zone, Place: at.place})
	}
	return b.viewOf(batch.ID, now)
}

func (b *Bench) split(now time.Time, by actor.Name, c request.SplitBatch) (any, error) {
	batch, err := b.finished(c.Batch)
	if err != nil {
		return nil, err
	}
	if total := batch.Amounts().TotalG(); !(c.Grams >= guide.MinimumG && c.Grams <= total-guide.MinimumG) {
		return nil, request.Refuse(request.Invalid, "grams", "%v g cannot be split off: batch %s is %.1f g", c.Grams, batch.ID, total).Saying("split-mass", "mass_g", c.Grams, "batch", batch.ID, "total_g", total)
	}
	at, err := b.spotFor(c.To.Press, c.To.Zone, c.Exposure, c.Replace)
	if err != nil {
		return nil, err
	}
	if at.before == batch.ID {
		return nil, request.Refuse(request.Invalid, "where", "batch %s itself is on %s; say where the part goes", batch.ID, at.press).Saying("split-where", "batch", batch.ID, "press", at.press)
	}
	if err := b.lookedAt(batch, at.press, c.Looked, now); err != nil {
		return nil, err
	}
	id := b.state.NextPart(batch.ID)
	if id == "" {
		return nil, request.Refuse(request.NotNow, "too many parts", "mix %s has been split as often as there are letters", batch.Family())
	}
	b.closeAir(batch.Zone, now)
	b.closeAir(at.zone, now)
	b.makeRoom(at, now, by)
	b.foundGood(batch, c.Looked, now, by)
	b.decide(now, by, record.Split{
		Batch: id, From: batch.ID, G: c.Grams, Press: at.press, Zone: at.zone, Place: at.place,
	})
	return b.viewOf(id, now)
}

// topUp pours one batch into another. The larger spent life rules for the whole: a
// fresh mix does not make an old one young.
func (b *Bench) topUp(now time.Time, by actor.Name, c request.TopUpBatch) (any, error) {
	batch, err := b.finished(c.Batch)
	if err != nil {
		return nil, err
	}
	from, err := b.openBatch(c.From)
	if err != nil {
		return nil, err
	}
	switch {
	case from.ID == batch.ID:
		return nil, request.Refuse(request.Invalid, "from", "batch %s cannot be poured into itself", batch.ID).Saying("into-itself")
	case from.Ensemble == nil:
		return nil, request.Refuse(request.NotNow, "no hardener in it", "batch %s has no hardener in it; ink without hardener spoils the mix", from.ID).Saying("no-hardener-in-it", "batch", from.ID)
	case from.Phase == lifecycle.Mixing:
		return nil, request.Refuse(request.NotNow, "not mixed yet", "batch %s waits for step %q; finish it first", from.ID, from.Mix.Step).Saying("not-mixed", "batch", from.ID, "step", from.Mix.Step)
	case from.Ink != batch.Ink:
		return nil, request.Refuse(request.NotNow, "another ink", "batch %s is %s and batch %s is %s", from.ID, from.Ink, batch.ID, batch.Ink).Saying("another-ink", "from", from.ID, "from_ink", from.Ink, "batch", batch.ID, "ink", batch.Ink)
	}
	b.closeAir(batch.Zone, now)
	b.closeAir(from.Zone, now)
	batch, from = b.state.Batches[batch.ID], b.state.Batches[from.ID]
	b.decide(now, by, record.ToppedUp{
		Batch: batch.ID, From: from.ID, Ink: batch.Ink, G: from.Amounts().TotalG(), Older: from.Ensemble.Spent() > batch.Ensemble.Spent(),
	})
	return b.viewOf(batch.ID, now)
}

// thin adds thinner to a batch in use, inside the ink's range or with a person's reason.
func (b *Bench) thin(now time.Time, by actor.Name, c request.ThinBatch) (any, error) {
	batch, err := b.finished(c.Batch)
	if err != nil {
		return nil, err
	}
	if !(c.Grams >= guide.MinimumG && c.Grams <= guide.MaximumG) {
		return nil, request.Refuse(request.Invalid, "grams", "%v g of thinner: want a mass of at least %v g", c.Grams, guide.MinimumG).Saying("thinner-mass", "least_g", float64(guide.MinimumG))
	}
	b.closeAir(batch.Zone, now)
	batch = b.state.Batches[batch.ID]
	limit := batch.Mix.Recipe.ThinnerMaxPct
	if pct := batch.ThinnerPctWith(c.Grams); pct > limit && c.Override == "" {
		return nil, request.Refuse(request.NotNow, "too much thinner",
			`with %v g more, thinner poured is %.1f %% of ink and hardener; %s takes %v %%. Weigh the cup again: what is weighed as lost may be replaced; or give a reason as "override"`,
			c.Grams, pct, batch.Ink, limit).
			Saying("too-much-thinner", "more_g", c.Grams, "thinner_pct", pct, "ink", batch.Ink, "most_pct", limit)
	}
	draw, err := b.stock(b.state, now).draw(batch, mix.Thinner, c.Can, c.Grams, c.Override)
	if err != nil {
		return nil, err
	}
	e := record.Thinned{Batch: batch.ID, G: c.Grams, Override: c.Override, Can: c.Can}
	if draw != nil {
		e.Can = draw.Can
	}
	b.decide(now, by, e)
	if draw != nil {
		b.decide(now, by, *draw)
	}
	return b.viewOf(batch.ID, now)
}

// reweigh takes a cup's weight in use. What is missing beyond the prints has
// evaporated; that is worth more than any estimate.
func (b *Bench) reweigh(now time.Time, by actor.Name, c request.ReweighBatch) (any, error) {
	batch, err := b.finished(c.Batch)
	if err != nil {
		return nil, err
	}
	if batch.Solvent == nil {
		return nil, request.Refuse(request.NotNow, "no account", "there is no account of the thinner in batch %s", batch.ID).Saying("no-thinner-account", "batch", batch.ID)
	}
	b.closeAir(batch.Zone, now)
	batch = b.state.Batches[batch.ID]
	before := batch.Solvent.CatalysedG + batch.Solvent.PouredG - batch.Solvent.WeighedLossG
	loss, u, err := evaporate.LossBetween(before, c.ContentG, c.TakenG, batch.Mix.Recipe.DivisionG)
	if err != nil {
		return nil, request.Refuse(request.Invalid, "weighed", "%v", err)
	}
	b.decide(now, by, record.Reweighed{Batch: batch.ID, ContentG: c.ContentG, TakenG: c.TakenG, LossG: loss, UncertaintyG: u})
	return b.viewOf(batch.ID, now)
}
