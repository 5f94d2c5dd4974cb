// Package weigh interprets the readings of a scale: whether a weight has settled, whether the
// scale was tared or the cup lifted, when a pour began, and the uncertainty of a mass.
//
// The package is pure. The instant of each reading comes with the reading, from one clock that
// does not run backwards; a reading that is older than the one before it starts everything
// again. Masses are in g as the scale shows them, so they are below zero when a tared cup was
// lifted.
//
// [Tracker] and [Rise] need not be stored: after a restart they are complete again after a few
// readings. [Pan] is stored in the journal.
package weigh

import (
	"math"
	"time"
)

// Stability is what the scale says about the stability of its reading.
type Stability uint8

// The values of a line's stability mark.
const (
	StabilityUnknown Stability = iota // the line carries no mark
	Stable
	Moving
)

// Tare is what the scale says about its tare.
type Tare uint8

// The values of a line's net or gross mark.
const (
	TareUnknown Tare = iota // the line carries no mark
	Net                     // a tare is being subtracted
	Gross
)

// Reading is one line of a scale.
type Reading struct {
	At        time.Time
	Grams     float64 // in g; meaningless unless HasWeight
	HasWeight bool
	Stability Stability
	Tare      Tare
	Over      bool // more than the scale can weigh
	Under     bool // less than the scale can show
}

// weight returns the mass in g. ok is false when the reading has no usable weight.
func (r Reading) weight() (float64, bool) {
	ok := r.HasWeight && !r.Over && !r.Under &&
		!math.IsNaN(r.Grams) && !math.IsInf(r.Grams, 0)
	return r.Grams, ok
}

// RiseThreshold returns by how many g a weight must rise before it counts as a pour: more than a
// division, and at least half a gram, so that a draught on a fine balance does not count.
func RiseThreshold(divisionG float64) float64 { return math.Max(divisionG, 0.5) }

// slack is added where decimal readings are compared with a division, for binary rounding: 12.3
// - 12.2 is a little more than 0.1.
func slack(divisionG float64) float64 { return divisionG * 1e-6 }

// steady is how long a weight must be constant, or stay up, before it counts.
const steady = time.Second
