package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/weigh"
)

// Two steps are plain to see, and nobody is asked to confirm them: an empty cup of a known weight
// that is set down on an empty pan, and a cup that was off the scale for as long as its ink
// must be stirred and came back. Whatever is less plain waits for a person.

// lifted is since when the cup of a mix is off the scale.
type lifted struct {
	batch string // empty while it is not known
	at    time.Time
}

// confirmByItself confirms the step of the mix that is weighed if the scale shows that it is
// done. change is what the newest reading did to the pan of the mix.
func (b *Bench) confirmByItself(s *scale, change weigh.Change, now time.Time) {
	on := weighing(b.state, s.ID)
	if on == nil || len(s.cups.Asked()) > 0 {
		s.lifted = lifted{}
		return
	}
	switch {
	case on.Mix.Step == guide.Cup:
		b.takeCup(s, on, now)
	case !on.Mix.Step.Stirs():
		s.lifted = lifted{}
	case change == weigh.Zeroed || change == weigh.Lifted:
		s.lifted = lifted{on.ID, s.last.At}
	case change == weigh.Returned:
		b.takeStir(s, on, now)
	case change != weigh.Unchanged:
		s.lifted = lifted{}
	}
}

// takeCup confirms the cup of a mix if it has arrived.
func (b *Bench) takeCup(s *scale, on *record.Batch, now time.Time) {
	g, arrived := s.arrival.Grams()
	if _, settled := s.tracker.Settled(); settled && arrived && on.Mix.EmptyCup(g) {
		s.arrival.Forget() // when that is undone, it waits for a person or another cup
		b.confirmAs(on, now)
	}
}

// takeStir confirms a stir if the cup was off the scale for long enough.
func (b *Bench) takeStir(s *scale, on *record.Batch, now time.Time) {
	off := s.lifted
	s.lifted = lifted{}
	stir := on.Mix.Recipe.Stir
	if off.batch != on.ID || stir <= 0 || s.last.At.Sub(off.at) < stir || b.anotherWeighsAs(on, s.last.Grams) {
		return
	}
	b.confirmAs(on, now)
}

// anotherWeighsAs reports whether the cup of a finished mix that was never used may weigh as
// much as the one that came back.
func (b *Bench) anotherWeighsAs(on *record.Batch, readingG float64) bool {
	tared := on.Mix.GrossG(0).G - on.Mix.Pan.BaseG
	for _, other := range b.state.Batches {
		if other.ID == on.ID || other.Phase == lifecycle.Mixing || other.Used {
			continue
		}
		if gross := other.Mix.GrossG(0); gross.Known() && gross.Holds(readingG+tared) {
			return true
		}
	}
	return false
}

// confirmAs confirms the step of a mix for the bench itself. What a person would be refused is
// not confirmed.
func (b *Bench) confirmAs(on *record.Batch, now time.Time) {
	_, err := b.confirmStep(now, actor.Bench, on, request.ConfirmStep{Batch: on.ID, Step: string(on.Mix.Step)}, true)
	if err != nil {
		b.log.Debug("a step is left to a person", "batch", on.ID, "step", on.Mix.Step, "err", err)
		return
	}
	s := b.scales[on.Scale]
	s.byBench, s.byBenchAt = true, b.clock.mono()
}
