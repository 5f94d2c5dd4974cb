package weigh

import (
	"math"
	"time"
)

// Arrival follows what is set down on an empty pan. It tells a cup that was put there from a
// weight that was poured, by how quickly it came, and knows nothing of what the cup is.
//
// It reports a weight only if the pan was settled at zero before, if the weight then came within
// a second, never went below zero on the way, and has stayed for a second. A scale that says
// that it is tared is never taken for empty. What stood on the pan before the first readings, or
// was exchanged without a settled zero in between, is not reported.
//
// The zero value is not usable; see [NewArrival].
type Arrival struct {
	divisionG float64
	settler   settler
	empty     bool      // the pan was settled at zero, and what followed may still be an arrival
	emptyAt   time.Time // the newest reading at zero
	levelG    float64   // the present plateau, and since when
	levelAt   time.Time
	grams     float64 // what arrived; 0 for nothing
}

// nothingG is how far the reading of an empty pan may be from zero, in g: crumbs and drops. An
// assumption, no source.
const nothingG = 1.0

// NewArrival returns an Arrival for a scale with the given division in g.
func NewArrival(divisionG float64) *Arrival {
	return &Arrival{divisionG: divisionG, settler: *newSettler(divisionG)}
}

// Observe records the next reading.
func (a *Arrival) Observe(r Reading) {
	a.settler.observe(r)
	g, ok := r.weight()
	if !ok || r.At.Before(a.levelAt) || r.Tare == Net {
		a.Forget()
		return
	}
	if a.levelAt.IsZero() || math.Abs(g-a.levelG) > a.divisionG+slack(a.divisionG) {
		a.levelG, a.levelAt = g, r.At
	}
	limit := max(2*a.divisionG, nothingG)
	_, settled := a.settler.grams()
	switch {
	case g < -limit:
		a.empty, a.grams = false, 0
	case g <= limit:
		a.grams = 0
		if settled {
			a.empty = true
		}
		if a.empty {
			a.emptyAt = r.At
		}
	case a.grams != 0 && math.Abs(g-a.grams) > 2*a.divisionG+slack(a.divisionG):
		a.empty, a.grams = false, 0 // something more has come
	case a.empty && a.grams == 0 && settled && r.At.Sub(a.levelAt) >= steady:
		a.empty = a.levelAt.Sub(a.emptyAt) <= steady
		if a.empty {
			a.grams = g
		}
	}
}

// Forget drops what the readings have told. What is on the pan now is not reported.
func (a *Arrival) Forget() { *a = *NewArrival(a.divisionG) }

// Grams returns the weight in g that was set down and still is on the pan as it came. ok is false
// when there is none.
func (a *Arrival) Grams() (g float64, ok bool) { return a.grams, a.grams != 0 }
