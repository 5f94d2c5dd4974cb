package bench

import (
	"math"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/cure"
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
		return nil, request.Refuse(request.NotNow, "not mixed yet", "batch %s waits for step %q; a press gets a finished mix", batch.ID, batch.Mix.Step).Saying("not-mixed", "batch", batch.ID, "step", batch.Mix.Step)
	}
	stands := b.state.Presses[press.ID].Batch
	if stands == batch.ID {
		return b.viewOf(batch.ID, now)
	}
	if err := b.lookedAt(batch, press.ID, c.Looked, now); err != nil {
		return nil, err
	}
	if off := c.ComesOff; off != nil && off.Batch != stands {
		if old := b.state.Batches[off.Batch]; old != nil || stands != "" {
			return nil, refuseAs("not-on-press", "not on the press", "batch %s is not on %s: look what is on it, then say what becomes of that", off.Batch, press.ID).Saying("not-on-press", "batch", off.Batch, "press", press.ID)
		}
		c.ComesOff = nil // it was closed meanwhile
	}
	if stands != "" && !c.Replace && c.ComesOff == nil {
		return nil, request.Refuse(request.NotNow, "press holds a batch", `%s holds batch %s; unload or close it, or say "replace": true`, press.ID, stands).Saying("press-holds", "press", press.ID, "batch", stands)
	}
	var clear func() // takes off what stands there
	if stands != "" {
		if clear, err = b.comesOff(b.state.Batches[stands], press.ID, c.ComesOff, now, by); err != nil {
			return nil, err
		}
	}
	b.closeAir(batch.Zone, now)
	b.closeAir(press.Zone, now)
	if clear != nil {
		clear()
	}
	b.foundGood(batch, c.Looked, now, by)
	b.decide(now, by, record.Loaded{Batch: batch.ID, Press: press.ID, Zone: press.Zone, Place: b.shop.placeOn(press)})
	return b.viewOf(batch.ID, now)
}

// lookFirst is the code of a change that would put a batch onto a press which must be looked at before.
const lookFirst = "look-first"

// lookedAt refuses to put a batch onto a press that somebody must look at first, unless somebody says to have
// done that.
func (b *Bench) lookedAt(batch *record.Batch, press string, looked bool, now time.Time) error {
	if press == "" || looked || !b.mustLook(b.state, batch, now) {
		return nil
	}
	return refuseAs(lookFirst, "look at it first",
		`by its age batch %s may have gone off: look at it, and say "looked": true if it is still good; close it if it is not`, batch.ID).Saying("look-first", "batch", batch.ID)
}

// foundGood records that a batch which goes onto a press was looked at and found good.
func (b *Bench) foundGood(batch *record.Batch, looked bool, now time.Time, by actor.Name) {
	if looked && batch.Ensemble != nil {
		b.decide(now, by, record.Good{Batch: batch.ID})
	}
}

// looselyCovered is the exposure of a cup with a lid that lies on it; common practice, no source.
const looselyCovered = 0.5

// comesOff checks what is said of a batch that another one replaces, and returns what ends or
// keeps it. Without a statement it comes back to the bench as it is.
func (b *Bench) comesOff(batch *record.Batch, press string, says *request.ComesOff, now time.Time, by actor.Name) (func(), error) {
	switch {
	case says == nil:
		return func() { b.takeOff(batch, press, benchPlace, now, by) }, nil
	case says.Outcome == request.Kept:
		place := benchPlace
		place.Exposure = looselyCovered
		if says.Exposure != nil {
			if place.Exposure = *says.Exposure; !(place.Exposure > 0 && place.Exposure <= 1) {
				return nil, badExposure(place.Exposure)
			}
		}
		if says.StillGood != "" || says.Seen != "" || says.LeftG != nil || says.Weigh {
			return nil, request.Refuse(request.Invalid, "comes off", "batch %s is kept: it has no end yet, and nothing is left over", batch.ID)
		}
		return func() { b.takeOff(batch, press, place, now, by) }, nil
	case says.Exposure != nil:
		return nil, request.Refuse(request.Invalid, "exposure", "batch %s is closed; exposure goes with outcome kept", batch.ID)
	}
	events, err := b.closing(batch, request.CloseBatch{
		Batch: batch.ID, Outcome: lifecycle.Outcome(says.Outcome), StillGood: says.StillGood, Seen: says.Seen,
		LeftG: says.LeftG, Weigh: says.Weigh, Scale: says.Scale, EmptyG: says.EmptyG,
	}, now)
	if err != nil {
		return nil, err
	}
	return func() { b.end(batch, events, now, by) }, nil
}

// takeOff brings a batch back from a press to the bench, where it stands as given.
func (b *Bench) takeOff(batch *record.Batch, press string, place cure.Place, now time.Time, by actor.Name) {
	zone := b.shop.benchZone(batch)
	b.closeAir(batch.Zone, now)
	b.closeAir(zone, now)
	b.decide(now, by, record.Unloaded{Batch: batch.ID, Press: press, Zone: zone, Place: place})
}

func (b *Bench) unload(now time.Time, by actor.Name, c request.UnloadBatch) (any, error) {
	for press, on := range b.state.Presses {
		switch {
		case on.Batch == c.Batch && c.Batch != "":
			b.takeOff(b.state.Batches[c.Batch], press, benchPlace, now, by)
			return b.viewOf(c.Batch, now)
		case on.WentOff == c.Batch && c.Batch != "":
			b.decide(now, by, record.Unloaded{Press: press})
			return b.viewOf(c.Batch, now)
		}
	}
	if _, ok := b.state.Find(c.Batch); !ok {
		return nil, request.Refuse(request.NotFound, "no such batch", "there is no batch %q", c.Batch)
	}
	return nil, request.Refuse(request.NotNow, "not loaded", "batch %s is on no press", c.Batch).Saying("not-loaded", "batch", c.Batch)
}

func (b *Bench) good(now time.Time, by actor.Name, c request.GoodBatch) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	if batch.Ensemble == nil {
		return nil, request.Refuse(request.NotNow, "no hardener yet", "batch %s has no hardener in it; its life has not begun", batch.ID).Saying("no-hardener-yet", "batch", batch.ID)
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
		return nil, request.Refuse(request.NotNow, "mixed already", "batch %s is mixed; close it instead", batch.ID).Saying("mixed-already", "batch", batch.ID)
	}
	b.closeAir(batch.Zone, now)
	b.decide(now, by, record.Abandoned{Batch: batch.ID, Ink: batch.Ink, WasteG: batch.Mix.Poured().TotalG() + batch.Mix.UndoneG, End: record.EndOf(b.state.Batches[batch.ID])})
	return b.viewOf(batch.ID, now)
}

func (b *Bench) close(now time.Time, by actor.Name, c request.CloseBatch) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	if batch.Phase == lifecycle.Mixing {
		return nil, request.Refuse(request.NotNow, "not mixed yet", "batch %s waits for step %q; finish it or abandon it", batch.ID, batch.Mix.Step).Saying("not-mixed-close", "batch", batch.ID)
	}
	events, err := b.closing(batch, c, now)
	if err != nil {
		return nil, err
	}
	b.end(batch, events, now, by)
	return b.viewOf(batch.ID, now)
}

// end records the events of a batch's end, with how far it was by then.
func (b *Bench) end(batch *record.Batch, events []record.Body, now time.Time, by actor.Name) {
	b.closeAir(batch.Zone, now)
	for _, e := range events {
		if closed, is := e.(record.Closed); is {
			closed.End = record.EndOf(b.state.Batches[batch.ID])
			e = closed
		}
		b.decide(now, by, e)
	}
}

// closing checks how a batch is said to have ended, and returns the events of its end.
func (b *Bench) closing(batch *record.Batch, c request.CloseBatch, now time.Time) ([]record.Body, error) {
	var events []record.Body
	e := record.Closed{
		Batch: batch.ID, Ink: batch.Ink, Press: batch.Press,
		Outcome: c.Outcome, StillGood: c.StillGood, Seen: c.Seen, LeftG: c.LeftG,
	}
	if c.Weigh {
		weighed, err := b.weighLeft(batch, c, now)
		if err != nil {
			return nil, err
		}
		e.LeftG = &weighed.LeftG
		events = append(events, weighed)
	}
	if err := completeClose(&e, batch.Mix); err != nil {
		return nil, err
	}
	return append(events, e), nil
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
		return request.Refuse(request.Invalid, "still good", "a batch that went off was not still good; say which it was").Saying("gone-off-not-good")
	}
	if e.Seen == "" {
		e.Seen = lifecycle.SeenEarlier
	}
	if e.LeftG != nil {
		if g := *e.LeftG; !(g >= 0 && g <= guide.MaximumG) || math.IsInf(g, 0) {
			return request.Refuse(request.Invalid, "left", "left_g %v: want a mass from 0 g to %v g", g, float64(guide.MaximumG)).Saying("left-range", "left_g", float64(g))
		}
		if poured := m.Poured().TotalG(); *e.LeftG > 1.5*poured {
			return request.Refuse(request.Invalid, "left", "left_g %v: the whole mix was %.1f g", *e.LeftG, poured).Saying("left-more-than-all", "total_g", poured)
		}
	}
	return nil
}

func badExposure(exposure float64) error {
	return request.Refuse(request.Invalid, "exposure", "exposure %v: want more than 0 and at most 1; about 0.5 is loosely covered", exposure)
}
