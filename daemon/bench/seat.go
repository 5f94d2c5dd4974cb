package bench

import (
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/health"
	"potlifed/model/lifecycle"
	"potlifed/model/weigh"
)

// Any number of mixes stir or rest while one is weighed on a scale. The cups of those
// that were set aside come back, and a pour that is journalled for the wrong mix is the
// worst that can happen here. So a cup is taken for that of a mix only when the pan was
// seen empty, then showed the weight of that cup and of no other; where two fit, or
// where the mix that holds the scale may be the one, a person is asked, and until then
// nothing is confirmed.

// seat is what is known of whose cup stands on a scale. It rebuilds itself after a
// start, when nothing is known.
type seat struct {
	// lowG is the least that the scale has shown since it was known whose cup stands on
	// it: a cup cannot have been exchanged unless the pan was about empty.
	lowG float64
	// levelG and beforeG are the last two settled levels; not a number when not known.
	levelG, beforeG float64
	// belowG are the last settled levels below zero, each of which may have been that of
	// an empty pan after a tare that no mix tells of.
	belowG []float64
	// peakG is the most it has shown since it last came to rest at an empty pan's
	// reading. A cup that was set down and tared at once shows as no more than that.
	peakG float64
	// asked are the mixes of which one stands on the scale, by what a person is to say;
	// askedG is the weight at which that was seen.
	asked  []string
	askedG float64
	// away: since then the scale has shown what an empty pan shows, or a tared cup.
	away bool
}

func unknownSeat() seat {
	return seat{lowG: math.Inf(-1), levelG: math.NaN(), beforeG: math.NaN(), peakG: math.Inf(-1)}
}

// known notes that it is known whose cup stands there.
func (k *seat) known() {
	k.lowG, k.peakG, k.asked, k.away = math.Inf(1), math.Inf(-1), nil, false
}

// ask notes that a person is to say whose cup stands there.
func (k *seat) ask(of []string, g float64) { k.asked, k.askedG, k.away = of, g, false }

// open are the mixes to be asked about, none while the pan may be empty.
func (k *seat) open() []string {
	if k.away {
		return nil
	}
	return k.asked
}

// see takes in a reading.
func (k *seat) see(r weigh.Reading, settled bool, divisionG float64) {
	if !r.HasWeight || r.Over || r.Under {
		return
	}
	k.lowG = min(k.lowG, r.Grams)
	if !math.IsInf(k.peakG, -1) {
		k.peakG = max(k.peakG, r.Grams)
	}
	if !settled {
		return
	}
	if !(math.Abs(r.Grams-k.levelG) <= 2*divisionG) {
		k.beforeG = k.levelG
		if k.beforeG < -2*divisionG {
			k.belowG = append(k.belowG[max(0, len(k.belowG)-mostBelow+1):], k.beforeG)
		}
	}
	k.levelG = r.Grams
}

// emptied reports whether the pan may have been empty since it was last known whose cup
// stands there, which weighs so much, when so much may be tared. Half of it is low
// enough: a filter need not have come to rest before the next cup was set down.
func (k *seat) emptied(cupG, taredG float64) bool { return k.lowG <= cupG/2-taredG }

// setDown reports whether the present level came straight from an empty pan.
func (k *seat) setDown(taredG, divisionG float64) bool {
	return math.Abs(k.beforeG+taredG) <= max(2*divisionG, emptyPanG)
}

const mostBelow = 4

// emptyPanG is how far an empty pan may be from zero: crumbs and drops. An assumption.
const emptyPanG = 1.0

// waiting are the mixes that were set aside at a scale, by id.
func (b *Bench) waiting(scale string) []*record.Batch {
	var all []*record.Batch
	for _, id := range slices.Sorted(maps.Keys(b.state.Batches)) {
		batch := b.state.Batches[id]
		if batch.Scale == scale && batch.Phase == lifecycle.Mixing && batch.Aside() {
			all = append(all, batch)
		}
	}
	return all
}

// fits reports whether the cup of a mix that was set aside can be what the scale shows,
// and whether it was set down on an empty pan just now.
func (s *scale) fits(batch, on *record.Batch, g float64, now time.Time) (can, setDown bool) {
	gross := batch.Mix.GrossG(now.Sub(batch.AsideAt))
	if batch.Mix.Step == guide.Cup {
		return false, false
	}
	zeros, stood := s.zeros, gross.G
	if on != nil && (on.Mix.Step == guide.Cup || !on.Mix.GrossG(0).Known()) {
		zeros = s.anyZeros()
	}
	if on != nil && on.Mix.Step != guide.Cup {
		stood = min(stood, on.Mix.GrossG(0).G)
	}
	for _, tared := range zeros {
		if s.holds(gross, g, tared) && s.seat.emptied(stood, tared) {
			can = true
			setDown = setDown || gross.Known() && s.seat.setDown(tared, s.DivisionG)
		}
	}
	return can, setDown
}

// anyZeros are what may be tared on a scale while no mix tells: a new one waits for its
// cup, or one has a cup whose weight is not known.
func (s *scale) anyZeros() []float64 {
	zeros := slices.Clone(s.zeros)
	for _, below := range s.seat.belowG {
		zeros = append(zeros, -below)
	}
	return zeros
}

// recognise looks whose cup stands on a scale, once a weight has settled there.
func (b *Bench) recognise(s *scale, change weigh.Change, now time.Time) {
	g, settled := s.tracker.Settled()
	s.seat.see(s.last, settled, s.DivisionG)
	waiting := b.waiting(s.ID)
	if len(waiting) == 0 {
		s.seat.asked = nil
		return
	}
	if !settled {
		return
	}
	on := b.weighing(s.ID)
	if len(s.seat.open()) > 0 {
		if s.lifted(g) {
			b.emptied(s, waiting, on, g)
		}
		return
	}
	var fit []string
	down := false
	for _, batch := range waiting {
		if can, setDown := s.fits(batch, on, g, now); can {
			fit, down = append(fit, batch.ID), setDown
		}
	}
	switch {
	case len(fit) == 0 && s.lifted(g):
		b.emptied(s, waiting, on, g)
	case len(fit) == 0:
		if on != nil && (on.Mix.Stands(g) || change == weigh.Returned) {
			s.seat.known()
		}
		s.seat.away = false // if it was asked about, it was tared and is poured into
	case len(fit) == 1 && down && !s.lifted(g) && (on == nil || on.Mix.Step.Stirs() && !on.Mix.MayBe(g, s.zeros)):
		batch := b.state.Batches[fit[0]]
		b.decide(now, actor.Bench, record.TakenUp{
			Batch: batch.ID, Scale: s.ID, WeightG: g, Recognised: true,
			Expected: batch.Mix.GrossG(0).G, Mix: batch.Mix.TakenUp(g),
		})
		s.taken(weigh.NewPan(g))
	default:
		if on != nil {
			fit = append(fit, on.ID)
			slices.Sort(fit)
		}
		s.seat.ask(fit, g)
	}
}

// emptied takes in that a scale shows what an empty pan shows, or a tared cup.
func (b *Bench) emptied(s *scale, waiting []*record.Batch, on *record.Batch, g float64) {
	if len(s.seat.asked) == 0 && slices.ContainsFunc(waiting, func(w *record.Batch) bool {
		return w.Mix.Step != guide.Cup && s.seat.peakG >= g+w.Mix.GrossG(0).G/2
	}) {
		var all []string
		for _, w := range waiting {
			all = append(all, w.ID)
		}
		if on != nil {
			all = append(all, on.ID)
			slices.Sort(all)
		}
		s.seat.ask(all, g)
	}
	if len(s.seat.asked) > 0 {
		s.seat.away, s.seat.askedG = true, g
	}
	s.seat.peakG = g
}

// lifted reports whether a reading is that of an empty pan.
func (s *scale) lifted(g float64) bool {
	return slices.ContainsFunc(s.zeros, func(tared float64) bool {
		return math.Abs(g+tared) <= max(2*s.DivisionG, emptyPanG)
	})
}

// taken begins to follow the cup of a mix that was taken up. When the weight rose is
// remembered, since somebody may be pouring.
func (s *scale) taken(p weigh.Pan) {
	s.tracker.Forget()
	s.tracker.Observe(s.last, p) // it may be zero, which is what a cup comes back from
	s.seat.known()
}

// takeUp takes up a mix that was set aside, or says that it is the one on the scale.
func (b *Bench) takeUp(now time.Time, by actor.Name, c request.TakeUp) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	s := b.scales[batch.Scale]
	if s == nil || batch.Press != "" {
		return nil, request.Refuse(request.NotNow, "not weighed", "batch %s waits for no scale", batch.ID)
	}
	on := b.weighing(s.ID)
	asked := slices.Contains(s.seat.asked, batch.ID)
	if !batch.Aside() {
		if asked { // it is this one, as it was
			s.seat.known()
			b.dirty = true
		}
		return b.viewOf(batch.ID, now)
	}
	g, settled := s.tracker.Settled()
	settled = settled && !s.old(now)
	if on != nil && !asked && on.Mix.Weighs(g, settled) {
		return nil, request.Refuse(request.NotNow, "scale in use", "batch %s is being weighed on %s; confirm its %s first", on.ID, s.ID, on.Mix.Step)
	}
	next, err := b.takenUp(s, batch, on, c, now)
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

// takenUp is a mix as it goes on: from the cup that stands on the scale if that can be
// its own, or waiting for it if the pan is empty.
func (b *Bench) takenUp(s *scale, batch, on *record.Batch, c request.TakeUp, now time.Time) (guide.Mix, error) {
	m := batch.Mix
	if m.Step == guide.Cup {
		return m.TakenUp(0), nil
	}
	if slices.Contains(s.seat.open(), batch.ID) {
		return m.TakenUp(s.seat.askedG), nil
	}
	g, settled := s.tracker.Settled()
	if is, why := s.condition(now); is != health.Up {
		return m, request.Refuse(request.NotNow, "scale silent", "scale %s: %s; see to the scale first", s.ID, why)
	}
	if !settled || s.old(now) {
		return m, refuseAs(guide.Unsettled, "not now", "The weight has not settled: put the cup of mix %s on the scale and let it come to rest.", batch.ID)
	}
	if g <= s.DivisionG && s.lifted(g) {
		return m.Awaited(g), nil
	}
	if on != nil && on.Mix.Step != guide.Cup && !slices.ContainsFunc(s.zeros, func(tared float64) bool {
		return s.seat.emptied(on.Mix.GrossG(0).G, tared)
	}) {
		return m, refuseAs(otherCup, "not now", "The cup of mix %s still stands on the scale: lift it off, put that of mix %s on, and take it up then.", on.ID, batch.ID)
	}
	gross := m.GrossG(now.Sub(batch.AsideAt))
	if c.Override == "" && !s.shows(gross, g) {
		return m, refuseAs(otherWeight, "not now", "The scale shows %.1f g; the cup of mix %s should weigh about %.1f g. Is it the right cup? Give a reason to go on with it.", g, batch.ID, gross.G)
	}
	return m.TakenUp(g), nil
}

// holds reports whether a reading can be of so much gross weight when so much is tared.
// What was tared is known from a cup of which something may have clung to a stick.
func (s *scale) holds(gross guide.Span, g, tared float64) bool {
	slack := 0.0
	if tared != 0 {
		slack = s.slackG
	}
	return g+tared >= gross.LowG && g+tared-slack <= gross.HighG
}

// shows reports whether a reading can be of so much gross weight.
func (s *scale) shows(gross guide.Span, g float64) bool {
	return slices.ContainsFunc(s.anyZeros(), func(tared float64) bool { return s.holds(gross, g, tared) })
}

// The codes of refusals about cups, beside those of the guide.
const (
	whichCup    = "which-cup"    // two cups fit, or the one on the scale may be another mix's
	otherCup    = "other-cup"    // the cup of another mix still stands there
	otherWeight = "other-weight" // no mix that waits weighs as much
)

// whoseCup refuses to confirm what the scale shows while it is open whose cup that is.
func (b *Bench) whoseCup(s *scale, batch *record.Batch, c request.ConfirmStep, now time.Time) error {
	if len(s.seat.asked) > 0 && !(s.seat.away && batch.Mix.Step.Stirs()) {
		return refuseAs(whichCup, "not now", "It is not known whose cup stands on the scale: say first whether it is that of mix %s.", strings.Join(s.seat.asked, " or of mix "))
	}
	if batch.Mix.Step != guide.Cup || c.Override != "" {
		return nil
	}
	for _, other := range b.waiting(s.ID) {
		if gross := other.Mix.GrossG(now.Sub(other.AsideAt)); gross.Known() && other.Mix.Step != guide.Cup && s.shows(gross, s.last.Grams) {
			return refuseAs(whichCup, "not now", "This weighs as much as the cup of mix %s: put an empty cup on the scale.", other.ID)
		}
	}
	return nil
}
