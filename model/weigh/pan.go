package weigh

import "math"

// PanState says how far a base may be relied on.
type PanState string

// The states of a [Pan]. Their texts go into the journal.
const (
	// PanResting: the base holds; reading minus base is what was poured.
	PanResting PanState = ""
	// PanZeroed: the reading went to zero although more stood there. Either the
	// tare key was pressed or the cup was lifted, and nothing has told yet.
	PanZeroed PanState = "zeroed"
	// PanRising: taken for tared, since the weight rises as slowly as a pour
	// does; taken back if it comes to rest exactly where the cup would.
	PanRising PanState = "rising"
	// PanAway: a tared cup is off the scale, the reading is below zero.
	PanAway PanState = "away"
	// PanAsked: only a person can tell; see [Pan.Answered].
	PanAsked PanState = "asked"
)

// Pan is what is known of the thing that stands on the scale: enough to go on
// after the process was killed in the middle of a pour.
type Pan struct {
	// BaseG is the reading at which nothing of the current part has been
	// poured. It is below zero when the scale was tared in mid-pour.
	BaseG float64 `json:"base_g" doc:"reading in g at which nothing of the current pour is in"`
	// State is [PanResting] unless something has happened to the base.
	State PanState `json:"state,omitempty" doc:"absent when the base holds; else zeroed, rising, away or asked"`
	// HeldG is the reading before that happened.
	HeldG float64 `json:"held_g,omitempty" doc:"reading in g before that"`
	// ShiftG is how far the base moves if it was a key, not a hand.
	ShiftG float64 `json:"shift_g,omitempty" doc:"how far the base moves in g if the scale was tared"`
	// AwayG is the reading, below zero, while a tared cup was last lifted.
	AwayG float64 `json:"away_g,omitempty" doc:"reading in g, below 0, while a tared cup was last lifted"`
	// Blind: how much stood there before is not certain (the program had just
	// started, or a pour had not come to rest), so no later reading can decide.
	Blind bool `json:"blind,omitempty" doc:"the weight before is not certain, so no later reading can decide"`
	// CupTared: the cup's own weight is tared out, so that an empty pan shows less
	// than zero. A zero is then the tare key's, and no lifted cup.
	CupTared bool `json:"cup_tared,omitempty" doc:"the cup's own weight is tared out"`
}

// NewPan returns the pan for the next part, at the reading at which the last
// one was confirmed.
func NewPan(readingG float64) Pan { return Pan{BaseG: readingG, HeldG: readingG} }

// Next returns the pan for the next part, of the same cup.
func (p Pan) Next(readingG float64) Pan {
	next := NewPan(readingG)
	next.CupTared = p.CupTared
	return next
}

// PouredG is what has been poured since the base, if the base holds.
//
// A reading is a decimal figure, and so is the difference of two, to the microgram: what
// a binary subtraction adds behind it is cut off.
func (p Pan) PouredG(readingG float64) float64 { return math.Round((readingG-p.BaseG)*1e6) / 1e6 }

// Holds reports whether reading minus base is what was poured. It is not while
// the cup is away, or while a zero is unexplained.
func (p Pan) Holds() bool { return p.State == PanResting || p.State == PanRising }

// Answered takes in a person's word on an open question: true when a key of the
// scale changed its reading (tare pressed, or cleared) and the cup stayed or
// came back as it was, false when only the cup was lifted.
func (p Pan) Answered(key bool) Pan {
	if p.Holds() || p.State == PanAway {
		return p
	}
	if key {
		p.BaseG += p.ShiftG
		p.HeldG += p.ShiftG
	}
	return Pan{BaseG: p.BaseG, HeldG: p.HeldG, CupTared: p.CupTared || key}
}
