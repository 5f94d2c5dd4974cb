package weigh

import "time"

// mostLevels bounds the memory of a [Rise]; a pour of ten minutes at five
// readings a second stays below it only when thinned.
const mostLevels = 1024

// Rise remembers when the weight last left each level upwards, and so answers,
// for any base, when the weight first rose above it for good. The base may be
// named afterwards: when a tare is recognised only once the pour is under way,
// the answer is still the moment the pour began.
//
// Invariant: levels is increasing in grams and in time; each entry says that no
// reading since lay at or below its grams, and when the first of these came.
// The zero value is not usable; see [NewRise].
type Rise struct {
	thresholdG float64
	settler    Settler
	levels     []level
	last       Reading
	haveLast   bool
}

type level struct {
	grams float64
	next  time.Time // of the first reading after the last one at this level
}

// NewRise returns a memory for a scale with the given division, in grams.
func NewRise(divisionG float64) *Rise {
	return &Rise{thresholdG: RiseThreshold(divisionG), settler: *NewSettler(divisionG)}
}

// Observe takes in the next reading. One without a usable weight changes
// nothing: it neither shows a rise nor denies one.
func (r *Rise) Observe(x Reading) {
	g, ok := x.weight()
	if !ok {
		return
	}
	if r.haveLast && x.At.Before(r.last.At) {
		r.Forget()
	}
	if r.haveLast {
		r.push(level{grams: r.last.Grams, next: x.At})
	}
	for n := len(r.levels); n > 0 && r.levels[n-1].grams >= g; n-- {
		r.levels = r.levels[:n-1]
	}
	r.settler.Observe(x)
	r.last, r.haveLast = x, true
}

// push adds the reading before the newest. When memory is full every second
// level goes: a rise is then dated a reading early at worst, which is the safe
// side for a pot life.
func (r *Rise) push(l level) {
	for n := len(r.levels); n > 0 && r.levels[n-1].grams >= l.grams; n-- {
		r.levels = r.levels[:n-1]
	}
	if len(r.levels) >= mostLevels {
		for i := range mostLevels / 2 {
			r.levels[i] = r.levels[2*i]
		}
		r.levels = r.levels[:mostLevels/2]
	}
	r.levels = append(r.levels, l)
}

// Forget drops all levels, so that only what rises from here on is seen.
func (r *Rise) Forget() {
	r.levels, r.haveLast = r.levels[:0], false
	r.settler.forget()
}

// Above returns the first moment at which the weight rose above the base by
// more than [RiseThreshold] and has stayed up since. It is believed once the
// weight has been up for a second, or two agreeing readings are marked stable.
// ok is false otherwise, and when the weight was already up at the first
// reading seen.
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
		_, still := r.settler.Settled()
		if r.last.At.Sub(at) >= steady || still && r.last.Stability == Stable && r.last.At.After(at) {
			return at, true
		}
		return time.Time{}, false
	}
	return time.Time{}, false
}
