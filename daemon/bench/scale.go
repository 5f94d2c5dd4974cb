package bench

import (
	"fmt"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/model/cupmatch"
	"potlifed/model/guide"
	"potlifed/model/health"
	"potlifed/model/lifecycle"
	"potlifed/model/weigh"
)

// scale is a scale with what its newest lines tell. It rebuilds itself after a
// start; what a guided mix needs of it is in the mix.
type scale struct {
	config.Scale
	clock   clock.Clock
	tracker *weigh.Tracker
	rise    *weigh.Rise
	cups    cupmatch.Matcher

	keyed      bool          // the print key was pressed in this run, and when last
	keyAt      time.Duration // CLOCK_BOOTTIME
	keyRefused *refusedKeyPress

	last   weigh.Reading // At is zero before the first
	lines  map[string]uint64
	linked bool
	detail string // why it is not
	since  time.Time
	is     health.Condition
}

func newScale(c config.Scale, by clock.Clock) *scale {
	s := &scale{Scale: c, clock: by, detail: "not opened yet", cups: cupmatch.New(c.DivisionG)}
	s.forget()
	return s
}

// forget drops what was followed: after a step of the clock, or when another mix
// begins on the scale.
func (s *scale) forget() {
	s.tracker, s.rise = weigh.NewTracker(s.DivisionG), weigh.NewRise(s.DivisionG)
	s.cups.Forget()
}

func (s *scale) shift(d time.Duration) {
	s.forget()
	if !s.last.At.IsZero() {
		s.last.At = s.last.At.Add(d)
	}
	if !s.since.IsZero() {
		s.since = s.since.Add(d)
	}
}

// A scale that streams sends a line several times a second. Its number is old after
// a few missing lines, and it is silent when they stay away.
const (
	lineOld    = 3 * time.Second
	lineSilent = 10 * time.Second
)

// condition says how the scale is, and why.
func (s *scale) condition(now time.Time) (is health.Condition, why string) {
	switch {
	case !s.linked:
		return health.Down, s.detail
	case s.last.At.IsZero():
		return health.Waiting, "no line that can be read yet"
	case now.Sub(s.last.At) > clock.Lapse(s.clock, lineSilent):
		return health.Stale, fmt.Sprintf("no line that can be read for %s", now.Sub(s.last.At).Round(time.Second))
	}
	return health.Up, ""
}

// old reports whether the newest number is too old to count as what lies on the pan now.
func (s *scale) old(now time.Time) bool {
	return now.Sub(s.last.At) > clock.Lapse(s.clock, lineOld)
}

type weightReading struct {
	scale   string
	reading weigh.Reading
	at      time.Duration // CLOCK_BOOTTIME
}

type scaleLink struct {
	scale  string
	up     bool
	detail string
}

type scaleLines struct {
	scale string
	lines map[string]uint64
}

func (l scaleLink) enter(b *Bench, _ time.Time) {
	if s, known := b.scales[l.scale]; known {
		s.linked, s.detail = l.up, l.detail
	}
}

func (l scaleLines) enter(b *Bench, _ time.Time) {
	if s, known := b.scales[l.scale]; known {
		s.lines = l.lines
	}
}

func (w weightReading) enter(b *Bench, now time.Time) {
	s, known := b.scales[w.scale]
	if !known {
		return
	}
	r := w.reading
	r.At = b.atMono(w.at)
	s.linked, s.last = true, r
	s.rise.Observe(r)
	b.recognise(s, b.follow(s, now), now)
	if batch := b.weighing(s.ID); batch != nil && len(s.cups.Asked()) == 0 {
		b.watchHardener(s, batch.ID, batch.Mix.Pan, now)
	}
}

// follow takes the newest reading for the mix that is weighed, if there is one.
func (b *Bench) follow(s *scale, now time.Time) weigh.Change {
	batch := b.weighing(s.ID)
	if batch == nil || batch.Mix.Step == guide.Cup {
		s.tracker.Observe(s.last, weigh.Pan{})
		return weigh.Unchanged
	}
	was := batch.Mix.Pan
	pan, change := s.tracker.Observe(s.last, was)
	if change == weigh.Tared && was.State == weigh.PanZeroed && pan.State == weigh.PanResting && batch.Mix.EmptyCup(s.last.Grams) {
		// One quick step from zero to what an empty cup weighs: it may be one.
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
	b.decide(now, actor.Bench, record.HardenerBegun{Batch: id, MixedAt: at, WeighingU: batch.Mix.RatioUncertainty()})
}

// weighing is the guided mix that is on the scale, nil when there is none. There is
// one at most; the others are set aside.
func (b *Bench) weighing(scale string) *record.Batch {
	var on *record.Batch
	for _, batch := range b.state.Batches {
		if batch.Scale == scale && batch.Phase == lifecycle.Mixing && !batch.Aside() && (on == nil || batch.ID < on.ID) {
			on = batch
		}
	}
	return on
}
