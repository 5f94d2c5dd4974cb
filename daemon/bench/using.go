package bench

import (
	"math"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
)

func (b *Bench) load(now time.Time, by actor.Name, c request.LoadBatch) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	press, err := b.shop.pressNamed(c.Press)
	if err != nil {
		return nil, err
	}
	if batch.Phase == lifecycle.Mixing {
		return nil, request.Refuse(request.NotNow, "not mixed yet", "batch %s waits for step %q; a press gets a finished mix", batch.ID, batch.Mix.Step)
	}
	stands := b.state.Presses[press.ID].Batch
	if stands == batch.ID {
		return b.viewOf(batch.ID, now)
	}
	if stands != "" && !c.Replace {
		return nil, request.Refuse(request.NotNow, "press holds a batch", `%s holds batch %s; unload or close it, or say "replace": true`, press.ID, stands)
	}
	b.closeAir(batch.Zone, now)
	b.closeAir(press.Zone, now)
	if stands != "" {
		b.takeOff(b.state.Batches[stands], press.ID, now, by)
	}
	b.decide(now, by, record.Loaded{Batch: batch.ID, Press: press.ID, Zone: press.Zone, Place: b.shop.placeOn(press)})
	return b.viewOf(batch.ID, now)
}

// takeOff brings a batch back from a press to the bench.
func (b *Bench) takeOff(batch *record.Batch, press string, now time.Time, by actor.Name) {
	zone := b.shop.benchZone(batch)
	b.closeAir(batch.Zone, now)
	b.closeAir(zone, now)
	b.decide(now, by, record.Unloaded{Batch: batch.ID, Press: press, Zone: zone, Place: benchPlace})
}

func (b *Bench) unload(now time.Time, by actor.Name, c request.UnloadBatch) (any, error) {
	for press, on := range b.state.Presses {
		switch {
		case on.Batch == c.Batch && c.Batch != "":
			b.takeOff(b.state.Batches[c.Batch], press, now, by)
			return b.viewOf(c.Batch, now)
		case on.WentOff == c.Batch && c.Batch != "":
			b.decide(now, by, record.Unloaded{Press: press})
			return b.viewOf(c.Batch, now)
		}
	}
	if _, ok := b.state.Find(c.Batch); !ok {
		return nil, request.Refuse(request.NotFound, "no such batch", "there is no batch %q", c.Batch)
	}
	return nil, request.Refuse(request.NotNow, "not loaded", "batch %s is on no press", c.Batch)
}

func (b *Bench) good(now time.Time, by actor.Name, c request.GoodBatch) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	if batch.Ensemble == nil {
		return nil, request.Refuse(request.NotNow, "no hardener yet", "batch %s has no hardener in it; its life has not begun", batch.ID)
	}
	b.closeAir(batch.Zone, now)
	b.decide(now, by, record.Good{Batch: batch.ID})
	return b.viewOf(batch.ID, now)
}

func (b *Bench) abandon(now time.Time, by actor.Name, c request.AbandonMix) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	if batch.Phase != lifecycle.Mixing {
		return nil, request.Refuse(request.NotNow, "mixed already", "batch %s is mixed; close it instead", batch.ID)
	}
	b.closeAir(batch.Zone, now)
	b.decide(now, by, record.Abandoned{Batch: batch.ID, Ink: batch.Ink, WasteG: batch.Mix.Poured().TotalG()})
	return b.viewOf(batch.ID, now)
}

func (b *Bench) close(now time.Time, by actor.Name, c request.CloseBatch) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	if batch.Phase == lifecycle.Mixing {
		return nil, request.Refuse(request.NotNow, "not mixed yet", "batch %s waits for step %q; finish it or abandon it", batch.ID, batch.Mix.Step)
	}
	e := record.Closed{
		Batch: batch.ID, Ink: batch.Ink, Press: batch.Press,
		Outcome: c.Outcome, StillGood: c.StillGood, Seen: c.Seen, LeftG: c.LeftG,
	}
	var weighed record.LeftWeighed
	if c.Weigh {
		if weighed, err = b.weighLeft(batch, c, now); err != nil {
			return nil, err
		}
		e.LeftG = &weighed.LeftG
	}
	if err := completeClose(&e, batch.Mix); err != nil {
		return nil, err
	}
	b.closeAir(batch.Zone, now)
	if c.Weigh {
		b.decide(now, by, weighed)
	}
	b.decide(now, by, e)
	return b.viewOf(batch.ID, now)
}

// completeClose fills in what a close leaves out, and refuses one that contradicts itself or
// the mix. Each word by itself was checked by request.Check.
func completeClose(e *record.Closed, m guide.Mix) error {
	if e.StillGood == "" {
		e.StillGood = lifecycle.GoodUnknown
		if e.Outcome == lifecycle.WentOff {
			e.StillGood = lifecycle.GoodNo
		}
	}
	if e.Outcome == lifecycle.WentOff && e.StillGood == lifecycle.GoodYes {
		return request.Refuse(request.Invalid, "still good", "a batch that went off was not still good; say which it was")
	}
	if e.Seen == "" {
		e.Seen = lifecycle.SeenEarlier
	}
	if e.LeftG != nil {
		if g := *e.LeftG; !(g >= 0 && g <= guide.MaximumG) || math.IsInf(g, 0) {
			return request.Refuse(request.Invalid, "left", "left_g %v: want a mass from 0 g to %v g", g, float64(guide.MaximumG))
		}
		if poured := m.Poured().TotalG(); *e.LeftG > 1.5*poured {
			return request.Refuse(request.Invalid, "left", "left_g %v: the whole mix was %.1f g", *e.LeftG, poured)
		}
	}
	return nil
}
