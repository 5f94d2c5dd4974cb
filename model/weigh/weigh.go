// Package weigh says what a scale's readings mean: when a weight has settled,
// whether the pan was tared or the cup lifted, when a pour began, and how well
// a mass is known at all.
//
// It is pure: the instant of each reading comes in with the reading and is
// expected on one clock that does not run backwards (a reading that is older
// than the one before it starts everything afresh). Masses are in grams as the
// scale shows them, so below zero when a tared cup has been lifted.
//
// [Settler], [Tracker] and [Rise] are streaming and not durable: after a
// restart they rebuild themselves from the next few readings. [Pan] is the
// durable part and goes into a journal.
package weigh

import (
	"math"
	"time"
)

// Stability is what the scale itself says about its reading.
type Stability uint8

// The three things a line can say about stability.
const (
	StabilityUnknown Stability = iota // the line carries no mark
	Stable
	Moving
)

// Tare is the scale's net/gross mark.
type Tare uint8

// The three things a line can say about tare.
const (
	TareUnknown Tare = iota // the line carries no mark
	Net                     // a tare is being subtracted
	Gross
)

// Reading is one line of a scale.
type Reading struct {
	At        time.Time
	Grams     float64 // meaningless unless HasWeight
	HasWeight bool
	Stability Stability
	Tare      Tare
	Over      bool // more than the scale can weigh
	Under     bool // less than it can show
}

// weight returns the grams and whether there are any worth using.
func (r Reading) weight() (float64, bool) {
	ok := r.HasWeight && !r.Over && !r.Under &&
		!math.IsNaN(r.Grams) && !math.IsInf(r.Grams, 0)
	return r.Grams, ok
}

// RiseThreshold is how far a weight must rise before it counts as a pour: more
// than a division, and at least half a gram, so that a draught on a fine
// balance is none.
func RiseThreshold(divisionG float64) float64 { return math.Max(divisionG, 0.5) }

// slack absorbs binary rounding where decimal readings are compared with a
// division: 12.3 - 12.2 is a little more than 0.1.
func slack(divisionG float64) float64 { return divisionG * 1e-6 }

// steady is how long a weight must hold still, or stay up, to be believed.
const steady = time.Second
