package weigh

import (
	"math"
	"time"
)

// Change is what a reading changed in a [Pan].
type Change string

// The changes that a [Tracker] reports. Callers must store a pan that differs from the one they
// passed in, whatever the change is.
const (
	Unchanged Change = ""
	Zeroed    Change = "zeroed"    // tared or lifted, not decided
	Tared     Change = "tared"     // tared: the base moved with the zero
	Lifted    Change = "lifted"    // a tared cup was lifted off the scale
	Returned  Change = "returned"  // the cup is back, the base is as before
	Ambiguous Change = "ambiguous" // a person must be asked
)

// The mass that a stirring stick may carry off before a lighter cup counts as another one.
// Assumptions, no source.
const (
	clingingShare = 0.03
	clingingG     = 1.0
)

// quickly is how long somebody takes to set a cup down. A weight that still rises after that is
// a pour, or is shown by a scale with a slow filter.
const quickly = 500 * time.Millisecond

// longestPause is the longest pause within a pour. After a longer one a person is asked what is
// on the scale.
const longestPause = 3 * time.Second

// leastCup is how many times the mass that may cling to a stick must have been on the scale so
// that a returning cup differs from a pour of the same mass. With less, even a slow pour is over
// at once.
const leastCup = 4

// Tracker follows the cup on the pan by the weight alone, also when the tare key is pressed and
// when the cup is lifted. Where two actions would look the same it does not guess; the result is
// then [Ambiguous].
//
//   - A net mark that appears with a reading of zero is the tare key.
//   - Without a mark, a zero after more than two divisions is not decided. A reading at the weight before is a returned cup. It may lack
//     what clings to a stick; the base then moves by as much, and the pour is unchanged. A rise below that weight that lasts more than a
//     second is a pour, so the scale was tared. In all other cases a person is asked: after a quick step to another weight, and after a
//     slow rise to that weight. The question ends by itself when that weight is taken off again and the cup comes back as it was.
//   - A settled reading two divisions below zero and below the base is a tared cup that was lifted. The base holds when it is back.
//   - A person is also asked about a mark that changes and takes the reading elsewhere than zero, about a reading below the base, about
//     a step from below zero straight to the base, and about a cup that comes back heavier by exactly its tare (the empty pan was zeroed
//     meanwhile).
//
// Two cases are not recognised: an empty cup that replaces another one of the same weight, and a
// tare after which exactly the former weight is poured in one quick step. The zero value is not
// usable; see [NewTracker].
type Tracker struct {
	divisionG float64
	settler   settler
	lastAt    time.Time
	state     PanState // as last returned

	heldG    float64 // last settled reading while the base held
	haveHeld bool
	peakG    float64 // highest reading since
	heldAt   time.Time

	levelG  float64 // the present plateau, and since when
	levelAt time.Time

	mark        Tare
	markChanged bool // and the weight has not settled since

	sawZero bool // this tracker itself saw the reading at zero
	zeroAt  time.Time
	rising  bool
	upAt    time.Time // first reading of a rise from zero
	upG     float64   // how far it had come after the first half second
	inBand  bool      // at the weight before, and since when
	bandAt  time.Time
	lines   lineRate
	rose    int  // readings since the last one at zero, up to the present plateau
	slow    bool // the last change from zero took as long as a pour
}

// NewTracker returns a tracker for a scale with the given division in g.
func NewTracker(divisionG float64) *Tracker {
	return &Tracker{divisionG: divisionG, settler: *newSettler(divisionG)}
}

// Settled returns the newest reading. ok is false when the weight has not settled.
func (t *Tracker) Settled() (grams float64, ok bool) { return t.settler.grams() }

// Stepped reports whether the weight that was last taken for a pour after a tare appeared at once,
// as that of a cup does which is set down. A rise of more than a second is a pour. How long it
// took is counted in readings, at the rate at which the scale sends them: on a busy machine
// the readings of a whole pour may come at once.
func (t *Tracker) Stepped() bool { return !t.slow }

// Forget starts tracking again for another cup. Whether the weight has settled stays known.
func (t *Tracker) Forget() {
	*t = Tracker{divisionG: t.divisionG, settler: t.settler, lastAt: t.lastAt, lines: t.lines}
}

// Observe records the next reading. It returns the pan after the reading and what changed.
func (t *Tracker) Observe(r Reading, p Pan) (Pan, Change) {
	t.settler.observe(r)
	g, ok := r.weight()
	if !ok {
		return p, Unchanged
	}
	if t.state != PanResting && p.State == PanResting {
		t.haveHeld = false // the question was answered, or the next part has begun
	}
	if r.At.Before(t.lastAt) {
		t.haveHeld, t.sawZero, t.rising = false, false, false
	}
	t.lines.add(r.At.Sub(t.lastAt))
	t.lastAt = r.At
	t.follow(r, g)
	tareKey := t.watchMark(r)

	var change Change
	switch p.State {
	case PanResting:
		p, change = t.resting(r, g, tareKey, p)
	case PanZeroed:
		p, change = t.zeroed(r, g, tareKey, p)
	case PanRising:
		p, change = t.settling(p)
	case PanAway:
		p, change = t.away(p)
	case PanAsked:
		p, change = t.asked(r, g, p)
	}
	if p.State != PanZeroed && (p.State != PanAsked || t.state != PanAsked) {
		t.sawZero, t.rising, t.inBand = false, false, false
	}
	t.state = p.State
	return p, change
}

// follow updates the plateau on which the reading lies.
func (t *Tracker) follow(r Reading, g float64) {
	if t.levelAt.IsZero() || !t.within(g, t.levelG, t.divisionG) {
		t.levelG, t.levelAt = g, r.At
		t.rose++
	}
	if t.zero(g) {
		t.rose = 0
	}
}

// watchMark reports whether a net mark has appeared that nothing has explained yet. The first
// mark that is seen is not a change.
func (t *Tracker) watchMark(r Reading) (tareKey bool) {
	if r.Tare == TareUnknown {
		return false
	}
	if t.mark != TareUnknown && t.mark != r.Tare {
		t.markChanged = true
	}
	t.mark = r.Tare
	return t.markChanged && r.Tare == Net
}

func (t *Tracker) resting(r Reading, g float64, tareKey bool, p Pan) (Pan, Change) {
	held := p.HeldG
	if t.haveHeld {
		held = t.heldG
	}
	blind := !t.haveHeld || t.peakG > held+RiseThreshold(t.divisionG)
	if t.haveHeld {
		t.peakG = math.Max(t.peakG, g)
		if t.within(g, held, t.divisionG) {
			t.heldAt = r.At
		}
	}
	if tareKey && t.zero(g) {
		t.markChanged = false
		if held <= 2*t.divisionG {
			return p, Unchanged
		}
		p.HeldG, p.ShiftG, p.Blind = held, -held, blind
		return t.tared(p, g, PanResting)
	}
	s, ok := t.settler.grams()
	if !ok {
		return p, Unchanged
	}
	changed := t.markChanged
	t.markChanged = false
	switch {
	case s < min(p.BaseG, 0)-2*t.divisionG:
		p.State, p.HeldG, p.AwayG = PanAway, held, s
		return p, Lifted
	case t.zero(s) && held < -2*t.divisionG && t.levelAt.Sub(t.heldAt) <= steady:
		// The reading goes from below zero straight to this weight. A pour that ends there would
		// be a coincidence.
		return ask(p, held, -held)
	case t.zero(s) && held > 2*t.divisionG:
		// A tare shows exactly zero. The difference of s from it was poured since.
		p.State, p.HeldG, p.ShiftG, p.Blind = PanZeroed, held, -held, blind
		t.sawZero, t.zeroAt = true, r.At
		if p.CupTared && !blind {
			return t.tared(p, g, PanResting)
		}
		return p, Zeroed
	case changed && t.haveHeld && !t.within(s, held, t.divisionG):
		return ask(p, held, s-held)
	case s < p.BaseG-Clinging(p.BaseG, t.divisionG):
		return ask(p, held, -held)
	case p.AwayG < 0 && t.zeroedEmpty(s, held, p.AwayG) && t.levelAt.Sub(t.heldAt) <= steady:
		return ask(p, held, -p.AwayG)
	}
	t.hold(s, r.At)
	return p, Unchanged
}

// zeroed looks for an explanation of the zero.
func (t *Tracker) zeroed(r Reading, g float64, tareKey bool, p Pan) (Pan, Change) {
	if g <= t.divisionG && g >= -2*t.divisionG {
		t.sawZero, t.zeroAt, t.rising, t.inBand = true, r.At, false, false
		if tareKey && t.zero(g) {
			t.markChanged = false
			return t.tared(p, g, PanResting)
		}
		return p, Unchanged
	}
	below := g > 0 && g < p.HeldG-Clinging(p.HeldG, t.divisionG)
	if t.climbs(r, g, p.HeldG, below) {
		return t.tared(p, g, PanRising)
	}
	s, ok := t.settler.grams()
	switch {
	case !ok:
		return p, Unchanged
	case s < -2*t.divisionG:
		// An empty pan shows zero; only a tared cup that was lifted leaves less.
		if s > -(p.HeldG - Clinging(p.HeldG, t.divisionG)) {
			return ask(p, p.HeldG, p.ShiftG)
		}
		p, change := t.tared(p, s, PanAway)
		p.AwayG = s
		return p, change
	case t.cameBack(p.HeldG):
		if r.At.Sub(t.bandAt) < steady {
			return p, Unchanged // a quick pour may pass here as well
		}
		return t.returned(p, s, r.At)
	case t.sawZero && s > t.divisionG && s <= p.HeldG/2 && r.At.Sub(t.levelAt) >= quickly:
		t.slow = time.Duration(t.rose)*t.lines.every() > steady
		return t.tared(p, s, PanResting)
	case t.sawZero && below && r.At.Sub(t.levelAt) < longestPause, r.At.Sub(t.levelAt) < steady:
		return p, Unchanged
	}
	return ask(p, p.HeldG, p.ShiftG)
}

// cameBack reports whether the reading went from zero to the weight before as quickly as that of a cup that is set
// down, and is still there.
func (t *Tracker) cameBack(heldG float64) bool {
	return t.sawZero && t.inBand && heldG >= leastCup*Clinging(heldG, t.divisionG) && t.bandAt.Sub(t.zeroAt) <= steady
}

// asked ends a question about a weight that appeared after a zero when that weight was taken off again and the cup
// came back as it was: the weight was that of another cup.
func (t *Tracker) asked(r Reading, g float64, p Pan) (Pan, Change) {
	if p.ShiftG != -p.HeldG { // the question is about something else
		return p, Unchanged
	}
	if t.zero(g) {
		t.sawZero, t.zeroAt, t.rising, t.inBand = true, r.At, false, false
		return p, Unchanged
	}
	t.climbs(r, g, p.HeldG, false)
	if s, ok := t.settler.grams(); ok && t.cameBack(p.HeldG) && r.At.Sub(t.bandAt) >= steady {
		return t.returned(p, s, r.At)
	}
	return p, Unchanged
}

// climbs follows a rise from zero and reports whether it is a pour: it has lasted a second below
// the weight before, and goes on for longer than somebody takes to set a cup down.
func (t *Tracker) climbs(r Reading, g, heldG float64, below bool) bool {
	if !t.rising {
		t.rising, t.upAt, t.upG = true, r.At, g
	}
	if r.At.Sub(t.upAt) <= quickly {
		t.upG = g
	}
	if !below {
		t.upG = math.Inf(1) // it no longer distinguishes a pour from a cup
	}
	if !t.back(g, heldG) {
		t.inBand = false
	} else if !t.inBand {
		t.inBand, t.bandAt = true, r.At
	}
	return below && t.sawZero && r.At.Sub(t.upAt) >= steady && g > t.upG+RiseThreshold(t.divisionG)
}

// settling waits until a rise that counted as a pour comes to rest. With a slow filter, a cup
// that is set down looks like a pour, but its rise ends at the weight of the cup.
func (t *Tracker) settling(p Pan) (Pan, Change) {
	s, ok := t.settler.grams()
	if !ok {
		return p, Unchanged
	}
	if was := p.HeldG - p.ShiftG; t.back(s, was) {
		p.BaseG -= p.ShiftG
		return ask(p, was, p.ShiftG)
	}
	t.hold(s, t.lastAt)
	return Pan{BaseG: p.BaseG, HeldG: s, CupTared: p.CupTared}, Unchanged
}

func (t *Tracker) away(p Pan) (Pan, Change) {
	s, ok := t.settler.grams()
	if !ok {
		return p, Unchanged
	}
	t.markChanged = false
	switch {
	case s < -2*t.divisionG && s < p.HeldG-Clinging(p.HeldG-p.AwayG, t.divisionG):
		p.AwayG = s
		return p, Unchanged
	case t.zeroedEmpty(s, p.HeldG, p.AwayG):
		return ask(p, p.HeldG, -p.AwayG)
	case s >= p.HeldG-Clinging(p.HeldG-p.AwayG, t.divisionG):
		return t.returned(p, s, t.lastAt)
	}
	return p, Unchanged
}

// tared moves the base with the zero, unless the weight before is uncertain.
func (t *Tracker) tared(p Pan, g float64, next PanState) (Pan, Change) {
	if p.Blind {
		return ask(p, p.HeldG, p.ShiftG)
	}
	p.BaseG += p.ShiftG
	p.HeldG += p.ShiftG
	p.State, p.CupTared = next, true
	if next == PanResting {
		p.ShiftG = 0
		t.hold(g, t.lastAt)
	}
	return p, Tared
}

// returned moves the base by what clung to the stick, so that it is missing from the weight
// before and not from the pour.
func (t *Tracker) returned(p Pan, s float64, at time.Time) (Pan, Change) {
	if lost := p.HeldG - s; lost > t.divisionG {
		p.BaseG -= lost
	}
	t.hold(s, at)
	return Pan{BaseG: p.BaseG, HeldG: s, AwayG: p.AwayG, CupTared: p.CupTared}, Returned
}

func ask(p Pan, heldG, shiftG float64) (Pan, Change) {
	return Pan{BaseG: p.BaseG, State: PanAsked, HeldG: heldG, ShiftG: shiftG, CupTared: p.CupTared}, Ambiguous
}

func (t *Tracker) hold(g float64, at time.Time) {
	t.heldG, t.peakG, t.heldAt, t.haveHeld = g, g, at, true
}

// zeroedEmpty reports whether s is the weight at which the cup would come back if the empty pan
// had been zeroed meanwhile: higher by the depth of the reading when it was lifted.
func (t *Tracker) zeroedEmpty(s, heldG, awayG float64) bool {
	expected := heldG - awayG
	return t.within(s, expected, Clinging(expected, t.divisionG))
}

// back reports whether s is the weight of the cup as it was, or nearly.
func (t *Tracker) back(s, heldG float64) bool {
	return s >= heldG-Clinging(heldG, t.divisionG)-slack(t.divisionG) && s <= heldG+t.divisionG+slack(t.divisionG)
}

// Clinging returns by how many g a stirred mix may be lighter when it comes back and still count
// as the same: 3 % of its weight, and at least a gram and two divisions.
func Clinging(stoodG, divisionG float64) float64 {
	return max(2*divisionG, clingingG, clingingShare*stoodG)
}

func (t *Tracker) zero(g float64) bool { return t.within(g, 0, t.divisionG) }

func (t *Tracker) within(a, b, limitG float64) bool {
	return math.Abs(a-b) <= limitG+slack(t.divisionG)
}
