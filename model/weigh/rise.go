package weigh

import "time"

// mostLevels is how many levels a [Rise] stores at most: one for each division of a pour of 1024
// divisions, and coarser steps for a larger pour.
const mostLevels = 1024

// Rise records when the weight last left each level upwards. For any base it can therefore tell
// when the weight first rose above it and stayed there. The base may become known later: when a
// tare is recognised during a pour, the result is still the beginning of the pour.
//
// Invariant: levels increase in mass and in time. Each entry says that no reading since then was
// at or below its mass, and when the first of these readings came. The zero value is not usable;
// see [NewRise].
type Rise struct {
	thresholdG float64
	settler    settler
	levels     []level
	stepG      float64 // levels are at least this far apart, in g
	last       Reading
	haveLast   bool
}

type level struct {
	grams float64
	next  time.Time // the time of the first reading after the last one at this level
}

// NewRise returns a Rise for a scale with the given division in g.
func NewRise(divisionG float64) *Rise {
	return &Rise{thresholdG: RiseThreshold(divisionG), settler: *newSettler(divisionG)}
}

// Observe records the next reading. A reading without a usable weight changes nothing.
func (r *Rise) Observe(x Reading) {
	g, ok := x.weight()
	if !ok {
		return
	}
	if r.haveLast && x.At.Before(r.last.At) {
		r.forget()
	}
	if r.haveLast {
		r.push(level{grams: r.last.Grams, next: x.At})
	}
	for n := len(r.levels); n > 0 && r.levels[n-1].grams >= g; n-- {
		r.levels = r.levels[:n-1]
	}
	r.settler.observe(x)
	r.last, r.haveLast = x, true
}

// push adds the reading before the newest, unless it is too near the level below. When all
// places are used, the distance of the levels is increased. A rise is then dated to a somewhat
// lower level, which is too early; for a pot life that is the safe side.
func (r *Rise) push(l level) {
	for n := len(r.levels); n > 0 && r.levels[n-1].grams >= l.grams; n-- {
		r.levels = r.levels[:n-1]
	}
	if n := len(r.levels); n > 0 && l.grams-r.levels[n-1].grams < r.stepG {
		return
	}
	r.levels = append(r.levels, l)
	for len(r.levels) >= mostLevels {
		r.stepG = max(2*r.stepG, (l.grams-r.levels[0].grams)/mostLevels)
		kept := r.levels[:1]
		for _, x := range r.levels[1:] {
			if x.grams-kept[len(kept)-1].grams >= r.stepG {
				kept = append(kept, x)
			}
		}
		r.levels = kept
	}
}

// forget removes all levels, so that only later rises count.
func (r *Rise) forget() {
	r.levels, r.stepG, r.haveLast = r.levels[:0], 0, false
	r.settler.forget()
}

// Above returns the first moment at which the weight rose above the base by more than
// [RiseThreshold] and stayed there. The rise counts once the weight has been up for a second, or
// once two readings that agree are marked stable. ok is false otherwise, and when the weight was
// already up at the first reading.
func (r *Rise) Above(baseG float64) (at time.Time, ok bool) {
	limit := baseG + r.thresholdG
	if !r.haveLast || r.last.Grams <= limit {
		return time.Time{}, false
	}
	for i := len(r.levels) - 1; i >= 0; i-- {
		if r.levels[i].grams > limit {
			continue
		}
		at = r.levels[i].next
		_, still := r.settler.grams()
		if r.last.At.Sub(at) >= steady || still && r.last.Stability == Stable && r.last.At.After(at) {
			return at, true
		}
		return time.Time{}, false
	}
	return time.Time{}, false
}
