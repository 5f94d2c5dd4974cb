package weigh

import "math"

// PanState is how far the base of a [Pan] can be relied on.
type PanState string

// The states of a [Pan]. Their texts are stored in the journal.
const (
	// PanResting: the base holds. Reading minus base is what was poured.
	PanResting PanState = ""
	// PanZeroed: the reading became zero although more was on the scale. Either somebody pressed
	// the tare key or lifted the cup; it is not known yet which.
	PanZeroed PanState = "zeroed"
	// PanRising: the scale counts as tared, since the weight rises as slowly as in a pour. This
	// is undone if the weight comes to rest exactly where the cup would.
	PanRising PanState = "rising"
	// PanAway: a tared cup is off the scale; the reading is below zero.
	PanAway PanState = "away"
	// PanAsked: only a person can tell what happened; see [Pan.Answered].
	PanAsked PanState = "asked"
)

// Pan is what is known of the cup on the scale. It is enough to continue after the process was
// killed in the middle of a pour.
type Pan struct {
	// BaseG is the reading in g at which nothing of the current part was poured yet. It is below
	// zero when the scale was tared during the pour.
	BaseG float64 `json:"base_g" doc:"reading in g at which nothing of the current pour is in"`
	// State is [PanResting] unless the base has become doubtful.
	State PanState `json:"state,omitempty" doc:"absent when the base holds; else zeroed, rising, away or asked"`
	// HeldG is the reading in g before that.
	HeldG float64 `json:"held_g,omitempty" doc:"reading in g before that"`
	// ShiftG is by how many g the base moves if a key was pressed, and no cup lifted.
	ShiftG float64 `json:"shift_g,omitempty" doc:"how far the base moves in g if the scale was tared"`
	// AwayG is the reading in g, below zero, when a tared cup was last lifted.
	AwayG float64 `json:"away_g,omitempty" doc:"reading in g, below 0, while a tared cup was last lifted"`
	// Blind: the weight that was on the scale before is not certain, since the program had just
	// started or a pour had not come to rest. No later reading can decide then.
	Blind bool `json:"blind,omitempty" doc:"the weight before is not certain, so no later reading can decide"`
	// CupTared: the weight of the cup itself is tared, so that an empty pan shows less than
	// zero. A reading of zero then means that the tare key was pressed, and not that the cup was
	// lifted.
	CupTared bool `json:"cup_tared,omitempty" doc:"the cup's own weight is tared out"`
}

// NewPan returns the pan for the next part, from the reading in g at which the last part was
// confirmed.
func NewPan(readingG float64) Pan { return Pan{BaseG: readingG, HeldG: readingG} }

// Next returns the pan for the next part in the same cup.
func (p Pan) Next(readingG float64) Pan {
	next := NewPan(readingG)
	next.CupTared = p.CupTared
	return next
}

// PouredG returns the mass in g that was poured since the base, if the base holds.
//
// Readings are decimal figures, and so is their difference, to the microgram. The digits that a
// binary subtraction adds are removed.
func (p Pan) PouredG(readingG float64) float64 { return math.Round((readingG-p.BaseG)*1e6) / 1e6 }

// Holds reports whether reading minus base is what was poured. It is false while the cup is off
// the scale and while a reading of zero is not explained.
func (p Pan) Holds() bool { return p.State == PanResting || p.State == PanRising }

// Answered returns the pan after a person has answered an open question. key is true when a key
// of the scale changed its reading (tare pressed, or cleared) while the cup stayed, and false
// when the cup was only lifted.
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
