package health

import (
	"math"
	"slices"
	"time"
)

// Pan follows what a scale shows, to tell how long it takes to settle, whether it settles at all, and
// what it shows when it is empty.
type Pan struct {
	divisionG float64

	aboutG  float64       // what it shows, smoothed
	at      time.Duration // of the last weight
	seen    bool
	settled bool
	lastG   float64
	changed time.Duration // when the weight last changed at all
	moved   time.Duration // when the weight last changed by more than its noise
	movedG  float64       // the smoothed weight then
	loaded  bool          // something has been on it since it was last empty

	settles []time.Duration // newest last
	zeros   []float64       // in g, newest last
}

// NewPan returns a Pan for a scale with a division in g.
func NewPan(divisionG float64) *Pan { return &Pan{divisionG: divisionG} }

// The limits of a scale's health, which are assumptions where no source is named.
const (
	// moveDivisions is a change that somebody makes, and no noise: at once from the smoothed weight, or of
	// the smoothed weight since it last moved, as in a slow pour. smooth is the share of a new weight in it.
	moveDivisions = 8
	smooth        = 0.1
	// emptyDivisions is how far from zero an empty pan may be and still count as empty.
	emptyDivisions = 10
	// keptOfPan is how many of the newest times and zeros are looked at, leastOfPan how many it takes.
	keptOfPan, leastOfPan = 10, 5
	// settlesWithin is how long a bench scale takes to settle: 2 to 3 seconds by the makers' sheets,
	// and a good deal more in a draught.
	settlesWithin = 8 * time.Second
	// restless is how long a scale may take after the last move before it counts as noisy at once.
	restless = time.Minute
	// zeroDivisions is how far an empty pan may be from zero: OIML R 76-1:2006, 4.5.2, sets zero within
	// a quarter of a division, and a crumb of ink weighs more than that.
	zeroDivisions = 2
)

// Add takes in a weight in g. settled is whether it counts as settled; at is a monotonic time
// of the scale, which a time lapse does not speed up.
func (p *Pan) Add(grams float64, settled bool, at time.Duration) {
	if !p.seen || math.Abs(grams-p.aboutG) > moveDivisions*p.divisionG {
		p.moved, p.movedG, p.settled, p.aboutG = at, grams, false, grams
	}
	if !p.seen || grams != p.lastG {
		p.lastG, p.changed = grams, at
	}
	p.aboutG += smooth * (grams - p.aboutG)
	if math.Abs(p.aboutG-p.movedG) > moveDivisions*p.divisionG {
		p.moved, p.movedG = at, p.aboutG
	}
	empty := math.Abs(grams) <= emptyDivisions*p.divisionG
	if settled && !p.settled && p.seen {
		p.settles = newestOf(p.settles, at-p.moved)
		if empty && p.loaded {
			p.zeros = newestOf(p.zeros, grams)
			p.loaded = false
		}
	}
	if settled && !empty && grams > 0 {
		p.loaded = true
	}
	p.at, p.seen, p.settled = at, true, settled
}

func newestOf[T any](all []T, x T) []T {
	all = append(all, x)
	return all[max(len(all)-keptOfPan, 0):]
}

// Settle returns the median time that the scale took to settle after its last moves; false while too
// few are known.
func (p *Pan) Settle() (time.Duration, bool) {
	if len(p.settles) < leastOfPan {
		return 0, false
	}
	s := slices.Sorted(slices.Values(p.settles))
	return s[len(s)/2], true
}

// Noisy reports whether the scale takes longer to settle than a scale without draught and vibration:
// more than 8 seconds in the median, or no rest for a minute although nobody moves anything.
func (p *Pan) Noisy() bool {
	if !p.settled && p.seen && p.at-p.moved > restless && p.at-p.changed < restless {
		return true
	}
	usual, known := p.Settle()
	return known && usual > settlesWithin
}

// Zero returns the median in g of what the scale showed when the cup had been lifted, and whether
// that is off: more than two divisions. known is false while too few are known.
func (p *Pan) Zero() (grams float64, off, known bool) {
	if len(p.zeros) < leastOfPan {
		return 0, false, false
	}
	grams = median(p.zeros)
	return grams, math.Abs(grams) > zeroDivisions*p.divisionG*(1+1e-9), true
}
