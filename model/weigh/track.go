package weigh

import (
	"math"
	"time"
)

// Change is what a reading did to a [Pan].
type Change string

// The changes a [Tracker] reports. Whatever the change, a pan that differs from
// the one handed in is to be kept.
const (
	Unchanged Change = ""
	Zeroed    Change = "zeroed"    // tared or lifted, open
	Tared     Change = "tared"     // decided: the base moved with the zero
	Lifted    Change = "lifted"    // a tared cup went off the scale
	Returned  Change = "returned"  // the cup is back, the base as before
	Ambiguous Change = "ambiguous" // a person must be asked
)

// What a stirring stick may carry off before a cup that comes back lighter is
// taken for another one. Assumptions, no source.
const (
	clingingShare = 0.03
	clingingG     = 1.0
)

// quickly is how long a cup takes to be set down; what still rises after it is
// being poured, or lies on a scale with a slow filter.
const quickly = 500 * time.Millisecond

// longestPause is how long a pour may pause before what stands there is taken to
// be something else than a pour and a person is asked.
const longestPause = 3 * time.Second

// leastCup is how many times what may cling must have stood there for its coming
// back to be told from a pour of as much: of less, even a slow pour is over at
// once.
const leastCup = 4

// Tracker follows the pan by weight alone, across the tare key and the lifted
// cup. It never guesses in silence: what two different doings would show alike
// ends as [Ambiguous].
//
//   - A net mark that appears with a reading of zero is the tare key.
//   - Without it, a zero where more than two divisions stood is open. From
//     there: back at the weight before is a returned cup (it may lack what
//     clings to a stick; the base then moves by as much, the pour stays what it
//     was). A rise that goes on for more than a second below that weight is a
//     pour, so it was tared. Anything else is asked about: a quick step to
//     another weight, a slow way to that one.
//   - A settled reading two divisions below zero and below the base is a tared cup
//     lifted; the base holds when it is back.
//   - A mark that changes and takes the reading elsewhere than zero, a reading
//     below the base, one that goes from below zero straight to it, and a cup that
//     comes back heavier by just its tare (the empty pan was zeroed meanwhile) are
//     asked about.
//
// Not caught: an empty cup of the same weight exchanged for the one that stood
// there, and a tare after which exactly the former weight is poured in one quick
// step. The zero value is not usable; see [NewTracker].
type Tracker struct {
	divisionG float64
	settler   Settler
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
}

// NewTracker returns a tracker for a scale with the given division, in grams.
func NewTracker(divisionG float64) *Tracker {
	return &Tracker{divisionG: divisionG, settler: *NewSettler(divisionG)}
}

// Settled returns the newest reading if the weight has settled; see [Settler].
func (t *Tracker) Settled() (grams float64, ok bool) { return t.settler.Settled() }

// Forget drops what was followed, for another cup; whether the weight has settled is
// known on.
func (t *Tracker) Forget() {
	*t = Tracker{divisionG: t.divisionG, settler: t.settler, lastAt: t.lastAt}
}

// Observe takes in the next reading and returns the pan after it.
func (t *Tracker) Observe(r Reading, p Pan) (Pan, Change) {
	t.settler.Observe(r)
	g, ok := r.weight()
	if !ok {
		return p, Unchanged
	}
	if t.state != PanResting && p.State == PanResting {
		t.haveHeld = false // the question was answered, or the next part begun
	}
	if r.At.Before(t.lastAt) {
		t.haveHeld, t.sawZero, t.rising = false, false, false
	}
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
	}
	if p.State != PanZeroed {
		t.sawZero, t.rising, t.inBand = false, false, false
	}
	t.state = p.State
	return p, change
}

// follow keeps the plateau the reading lies on.
func (t *Tracker) follow(r Reading, g float64) {
	if t.levelAt.IsZero() || !t.within(g, t.levelG, t.divisionG) {
		t.levelG, t.levelAt = g, r.At
	}
}

// watchMark reports whether a net mark has appeared that nothing has explained
// yet. A mark seen for the first time is no change.
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
	s, ok := t.settler.Settled()
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
		// From below zero straight to it: a pour that ends there would be a chance.
		return ask(p, held, -held)
	case t.zero(s) && held > 2*t.divisionG:
		// A tare shows zero exactly; what s differs from it was poured since.
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

// zeroed looks for what explains the zero.
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
	s, ok := t.settler.Settled()
	switch {
	case !ok:
		return p, Unchanged
	case s < -2*t.divisionG:
		// An empty pan shows zero; only a tared cup leaves less than that.
		if s > -(p.HeldG - Clinging(p.HeldG, t.divisionG)) {
			return ask(p, p.HeldG, p.ShiftG)
		}
		p, change := t.tared(p, s, PanAway)
		p.AwayG = s
		return p, change
	case t.sawZero && t.inBand && p.HeldG >= leastCup*Clinging(p.HeldG, t.divisionG) && t.bandAt.Sub(t.zeroAt) <= steady:
		if r.At.Sub(t.bandAt) < steady {
			return p, Unchanged // a quick pour may pass here, too
		}
		return t.returned(p, s, r.At)
	case t.sawZero && s > t.divisionG && s <= p.HeldG/2 && r.At.Sub(t.levelAt) >= quickly:
		return t.tared(p, s, PanResting)
	case t.sawZero && below && r.At.Sub(t.levelAt) < longestPause, r.At.Sub(t.levelAt) < steady:
		return p, Unchanged
	}
	return ask(p, p.HeldG, p.ShiftG)
}

// climbs follows a rise from zero and reports whether it is a pour: it has
// lasted a second below the weight before, and still rises after what a cup
// takes to be set down.
func (t *Tracker) climbs(r Reading, g, heldG float64, below bool) bool {
	if !t.rising {
		t.rising, t.upAt, t.upG = true, r.At, g
	}
	if r.At.Sub(t.upAt) <= quickly {
		t.upG = g
	}
	if !below {
		t.upG = math.Inf(1) // no longer tells a pour from a cup
	}
	if !t.back(g, heldG) {
		t.inBand = false
	} else if !t.inBand {
		t.inBand, t.bandAt = true, r.At
	}
	return below && t.sawZero && r.At.Sub(t.upAt) >= steady && g > t.upG+RiseThreshold(t.divisionG)
}

// settling waits for a rise that was taken for a pour to come to rest. A slow
// filter makes a cup set down look like one, but then it ends at the cup.
func (t *Tracker) settling(p Pan) (Pan, Change) {
	s, ok := t.settler.Settled()
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
	s, ok := t.settler.Settled()
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

// tared moves the base with the zero, unless what stood there is uncertain.
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

// returned moves the base by what clung to the stick, so that it is missing
// from what stood there and not from what is being poured.
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

// zeroedEmpty reports whether s is where the cup would come back to had the
// empty pan been zeroed while it was away: higher by the depth it left.
func (t *Tracker) zeroedEmpty(s, heldG, awayG float64) bool {
	expected := heldG - awayG
	return t.within(s, expected, Clinging(expected, t.divisionG))
}

// back reports whether s is the cup as it stood there, or nearly.
func (t *Tracker) back(s, heldG float64) bool {
	return s >= heldG-Clinging(heldG, t.divisionG)-slack(t.divisionG) && s <= heldG+t.divisionG+slack(t.divisionG)
}

// Clinging is how much lighter, in grams, a stirred mix may come back and still be
// taken for the same: 3 % of what stood there, at least a gram and two divisions.
func Clinging(stoodG, divisionG float64) float64 {
	return max(2*divisionG, clingingG, clingingShare*stoodG)
}

func (t *Tracker) zero(g float64) bool { return t.within(g, 0, t.divisionG) }

func (t *Tracker) within(a, b, limitG float64) bool {
	return math.Abs(a-b) <= limitG+slack(t.divisionG)
}
