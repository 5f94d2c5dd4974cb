package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/model/guide"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

type weightReading struct {
	scale   string
	reading weigh.Reading
	at      time.Duration // CLOCK_BOOTTIME
}

type scaleLink struct {
	scale  string
	up     bool
	fault  health.Fault
	detail string
}

type scaleLines struct {
	scale string
	lines map[string]uint64
}

func (l scaleLink) enter(b *Bench, _ time.Time) {
	if s, known := b.scales[l.scale]; known {
		s.linked, s.fault, s.detail = l.up, l.fault, l.detail
		s.unheard = s.unheard || !l.up
	}
}

func (l scaleLines) enter(b *Bench, _ time.Time) {
	if s, known := b.scales[l.scale]; known {
		s.lines = l.lines
		all := uint64(0)
		for _, n := range l.lines {
			all += n
		}
		s.pan.Lines(all, l.lines["torn"]+l.lines["unknown"]+l.lines["overlong"])
	}
}

func (w weightReading) enter(b *Bench, now time.Time) {
	s, known := b.scales[w.scale]
	if !known {
		return
	}
	before := b.state
	r := w.reading
	r.At = b.clock.at(w.at)
	s.linked, s.unheard, s.last = true, false, r
	s.rise.Observe(r)
	s.arrival.Observe(r)
	change := b.follow(s, now)
	if _, settled := s.tracker.Settled(); r.HasWeight {
		s.panTime, s.panAt = s.panTime+b.clock.passed(w.at-s.panAt), w.at
		s.pan.StaleAfter = lineSilent
		s.pan.Add(r.Grams, settled, s.panTime)
	}
	b.recognise(s, change, now)
	b.confirmByItself(s, change, now)
	if batch := weighing(b.state, s.ID); batch != nil && len(s.cups.Asked()) == 0 {
		b.watchHardener(s, batch.ID, batch.Mix.Pan, now)
	}
	if b.state.Seq != before.Seq { // what a person did at the scale is not seen again after a crash
		b.write.asking(before)
	}
}

// follow takes the newest reading for the mix that is weighed, if there is one.
func (b *Bench) follow(s *scale, now time.Time) weigh.Change {
	batch := weighing(b.state, s.ID)
	if batch == nil || batch.Mix.Step.Swaps() {
		s.tracker.Observe(s.last, weigh.Pan{})
		return weigh.Unchanged
	}
	was := batch.Mix.Pan
	pan, change := s.tracker.Observe(s.last, was)
	if change == weigh.Tared && was.State == weigh.PanZeroed && pan.State == weigh.PanResting && s.tracker.Stepped() && guide.CanBeCup(s.last.Grams) {
		// One quick step from zero: more likely than a pour after a tare, another cup was set down.
		was.State = weigh.PanAsked
		pan, change = was, weigh.Ambiguous
	}
	if pan != batch.Mix.Pan {
		b.decide(now, actor.Bench, record.PanChanged{Batch: batch.ID, Scale: s.ID, Change: string(change), Pan: pan})
	}
	s.cups.Follow(b.state.Batches[batch.ID].Mix)
	return change
}

// watchHardener starts a batch's clock at the first moment that the weight rose in
// step hardener and stayed up.
func (b *Bench) watchHardener(s *scale, id string, pan weigh.Pan, now time.Time) {
	batch := b.state.Batches[id]
	if batch.Mix.Step != guide.Hardener || !batch.MixedAt.IsZero() || !pan.Holds() {
		return
	}
	at, ok := s.rise.Above(pan.BaseG)
	if !ok {
		return
	}
	b.closeAir(batch.Zone, now)
	b.decide(now, actor.Bench, record.HardenerBegun{Batch: id, MixedAt: at, WeighingU: s.weighingU(b.state, batch.Mix)})
}
