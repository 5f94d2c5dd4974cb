package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// Three things are plain to see, and nobody is asked to confirm them: an empty cup of a known
// weight that is set down on an empty pan; a cup that was off the scale for as long as its ink
// must be stirred and came back; and hardener that was in ratio and at rest when the cup was
// lifted for that stir. Whatever is less plain waits for a person. So does thinner that was
// lifted: people stir and look at the mix before they add the rest.

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
	case !on.Mix.Step.Stirs() && on.Mix.Step != guide.Hardener:
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
	if on.Mix.Step == guide.Hardener {
		if !hardenerIsRight(on.Mix, s.last.Grams) || !b.confirmAs(on, now) {
			return
		}
		on = b.state.Batches[on.ID]
	}
	if on.Mix.Step.Stirs() {
		b.confirmAs(on, now)
	}
}

// hardenerIsRight reports whether what is in the cup and not taken is hardener in ratio.
func hardenerIsRight(m guide.Mix, readingG float64) bool {
	n, loose := m.NotTaken(readingG)
	if !loose || n.Part != mix.Hardener {
		return false
	}
	v, _ := m.Judge(n.G)
	return v == guide.Right
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
// not confirmed, and false is returned.
func (b *Bench) confirmAs(on *record.Batch, now time.Time) bool {
	_, err := b.confirmStep(now, actor.Bench, on, request.ConfirmStep{Batch: on.ID, Step: string(on.Mix.Step)}, true)
	if err != nil {
		b.log.Debug("a step is left to a person", "batch", on.ID, "step", on.Mix.Step, "err", err)
		return false
	}
	s := b.scales[on.Scale]
	s.byBench, s.byBenchAt = true, b.clock.mono()
	return true
}
