package health

import (
	"math"
	"slices"
	"time"
)

// Pan follows what a scale shows, to tell how long it takes to settle, whether it settles at all, and
// what it shows when it is empty.
type Pan struct {
	// StaleAfter is the age at which the newest weight is too old; 0 where none is.
	StaleAfter time.Duration

	divisionG float64
	gaps      gaps

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
	noise   noise           // since the start
	day     panDay

	lines, rejected uint64 // as Lines told last
	counted         bool
}

// panDay is what is followed of a day.
type panDay struct {
	oldest, down time.Duration
	settled      int
	lines        uint64
	rejected     uint64
	settles      []time.Duration // the newest of the day
	zeros        []float64
	noise        noise
}

// noise is the noise of the weights at rest: the mean square of what follows each other, in g², differs
// by, which a slow drift does not add to.
type noise struct {
	n      int
	square float64
}

func (x *noise) add(stepG float64) {
	x.n++
	x.square += (stepG*stepG - x.square) / float64(x.n)
}

// grams returns the standard deviation of a weight in g, and whether enough weights are known.
func (x noise) grams() (float64, bool) { return math.Sqrt(x.square / 2), x.n >= leastOfNoise }

// PanDay is how a scale was over a day.
type PanDay struct {
	Date    string        `json:"date" doc:"the day on the shop's calendar, YYYY-MM-DD"`
	Settled int           `json:"settled" doc:"how often it settled"`
	Settle  time.Duration `json:"settle_ns,omitempty" doc:"median time that it took to settle"`
	NoiseG  *float64      `json:"noise_g,omitempty" doc:"standard deviation in g of a weight at rest; absent while too few are known"`
	Oldest  time.Duration `json:"oldest_ns,omitempty" doc:"the greatest age that the newest weight had"`
	Down    time.Duration `json:"down_ns,omitempty" doc:"time for which the newest weight was too old"`
	ZeroG   *float64      `json:"zero_g,omitempty" doc:"median in g of what it showed when the cup had been lifted; absent when none was"`
	Lines   uint64        `json:"lines,omitempty" doc:"number of lines that it sent"`
	// Rejected is of Lines.
	Rejected uint64 `json:"rejected,omitempty" doc:"number of those lines that could not be read: damaged, too long or not of its shape"`
}

// keptPanDays is how many days of a scale are kept: a month.
const keptPanDays = 31

// KeptOfPan returns the days of a scale with a new one, the oldest first: those of the last month.
func KeptOfPan(days []PanDay, d PanDay) []PanDay {
	days = append(slices.Clone(days), d)
	return days[max(len(days)-keptPanDays, 0):]
}

// EndDay returns the day so far, without its date, and begins the next one. at is the monotonic time of midnight.
func (p *Pan) EndDay(at time.Duration) PanDay {
	p.gaps.cut(at, p.StaleAfter, &p.day.oldest, &p.day.down)
	is := p.day
	p.day = panDay{}
	d := PanDay{Settled: is.settled, Oldest: is.oldest, Down: is.down, Lines: is.lines, Rejected: is.rejected}
	if len(is.settles) > 0 {
		s := slices.Sorted(slices.Values(is.settles))
		d.Settle = s[len(s)/2]
	}
	if g, known := is.noise.grams(); known {
		d.NoiseG = &g
	}
	if len(is.zeros) > 0 {
		g := median(is.zeros)
		d.ZeroG = &g
	}
	return d
}

// Lines takes in how many lines a scale sent since its reader started, and how many of them could not be read. Both begin again at 0
// when the reader does; those before the first call do not count.
func (p *Pan) Lines(all, rejected uint64) {
	if all < p.lines || rejected < p.rejected {
		p.lines, p.rejected = 0, 0
	}
	if p.counted {
		p.day.lines += all - p.lines
		p.day.rejected += rejected - p.rejected
	}
	p.lines, p.rejected, p.counted = all, rejected, true
}

// Noise returns the standard deviation in g of a weight at rest since the start; false while too few
// weights are known.
func (p *Pan) Noise() (grams float64, known bool) { return p.noise.grams() }

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
	// keptOfDay is how many of the times and zeros of a day are looked at, and leastOfNoise how many
	// weights at rest tell its noise: a minute of them.
	keptOfDay, leastOfNoise = 200, 600
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
	p.gaps.end(at, p.StaleAfter, &p.day.oldest, &p.day.down)
	if !p.seen || math.Abs(grams-p.aboutG) > moveDivisions*p.divisionG {
		p.moved, p.movedG, p.settled, p.aboutG = at, grams, false, grams
	}
	if step := grams - p.lastG; settled && p.settled && math.Abs(step) <= moveDivisions*p.divisionG {
		p.noise.add(step)
		p.day.noise.add(step)
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
		p.settles = newestOf(p.settles, at-p.moved, keptOfPan)
		p.day.settles = newestOf(p.day.settles, at-p.moved, keptOfDay)
		p.day.settled++
		if empty && p.loaded {
			p.zeros = newestOf(p.zeros, grams, keptOfPan)
			p.day.zeros = newestOf(p.day.zeros, grams, keptOfDay)
			p.loaded = false
		}
	}
	if settled && !empty && grams > 0 {
		p.loaded = true
	}
	p.at, p.seen, p.settled = at, true, settled
}

func newestOf[T any](all []T, x T, kept int) []T {
	all = append(all, x)
	return all[max(len(all)-kept, 0):]
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
