// Package cupmatch finds out whose cup stands on a scale, while several mixes share it.
//
// Any number of mixes stir or rest while one is weighed. The cups of those that were set
// aside come back, and a pour that is booked to the wrong mix is the worst that can happen
// at the bench. So the cup of a waiting mix is recognised only when the pan was settled at
// empty and then settled at the weight of that cup and of no other, and when it cannot be
// the cup of the mix that is weighed. Where two cups fit, or where the pan may have been
// empty without a settled reading, a person is asked, and until the answer nothing may be
// confirmed.
//
// The package is pure: it has no clock and decides nothing but whose cup it is. How much
// may have been tared is a set of hypotheses; one too many costs a question, one too few
// could cost a batch.
package cupmatch

import (
	"math"
	"slices"

	"potlifed/model/guide"
	"potlifed/model/weigh"
)

const (
	// emptyPanG is how far the reading of an empty pan may be from zero, in g: crumbs and
	// drops. An assumption.
	emptyPanG = 1.0
	// mostNegative is how many settled readings below zero are kept.
	mostNegative = 4
)

// Cup is the cup of a mix that shares a scale with others.
type Cup struct {
	ID  string // of the mix
	Mix guide.Mix
	// Gross is what the cup should weigh now (see [guide.Mix.GrossG]).
	Gross guide.Span
}

// begun reports whether there is something in the cup that is a mix's own: until its cup is
// confirmed, one empty cup is as good as another.
func (c *Cup) begun() bool { return !c.Mix.Step.Swaps() }

// Matcher is what is known of whose cup stands on one scale. Make one with [New].
type Matcher struct {
	divisionG float64
	zerosG    []float64 // what may be tared
	formerG   []float64 // what that was at the reading before
	slackG    float64   // by how much less than that
	track
}

// track is what is known from the readings since [Matcher.Forget].
type track struct {
	// lowestG is the least that the scale has shown since it was known whose cup stands on
	// it: a cup cannot have been exchanged unless the pan was about empty.
	lowestG float64
	// levelG and beforeG are the last two settled levels; not a number while not known.
	levelG, beforeG float64
	// negativeG are the last settled levels below zero. Each may have been that of an empty
	// pan after a tare that no mix knows of.
	negativeG []float64
	// peakG is the most that the scale has shown since it last came to rest at an empty
	// pan's reading. A cup that was set down and tared at once shows as no more than that.
	peakG float64
	// asked are the ids of the mixes about which a person is asked, sorted; askedG is the
	// reading at which that began.
	asked  []string
	askedG float64
	// cleared: since then the scale has shown what an empty pan shows, or a tared cup.
	cleared bool
	// emptied: what it showed then, askedG, was below zero. A cup that was just tared shows about zero,
	// so that the pan was empty, and the cup that stands there now was set down on it.
	emptied bool
}

// New returns the matcher of a scale with the given division, in g. Nothing is known yet.
func New(divisionG float64) Matcher {
	m := Matcher{divisionG: divisionG, zerosG: []float64{0}}
	m.Forget()
	return m
}

// Forget drops what the readings have told: nobody knows whose cup stands on the scale.
func (m *Matcher) Forget() {
	m.track = track{lowestG: math.Inf(-1), levelG: math.NaN(), beforeG: math.NaN(), peakG: math.Inf(-1)}
}

// Known notes that the cup on the scale is that of the mix which is weighed.
func (m *Matcher) Known() {
	m.lowestG, m.peakG, m.asked, m.cleared, m.emptied = math.Inf(1), math.Inf(-1), nil, false, false
}

// Follow takes from the mix that is weighed what may be tared on the scale. It is to be called with
// each reading, before [Matcher.See].
func (m *Matcher) Follow(weighed guide.Mix) {
	m.formerG = m.zerosG
	m.zerosG, m.slackG = weighed.ZerosG(), weigh.Clinging(weighed.Poured().TotalG(), m.divisionG)
}

// Asked returns the ids of the mixes of which one may stand on the scale while that is not
// known, sorted; nil while it is known. They stay asked about while the pan may be empty.
func (m *Matcher) Asked() []string { return m.asked }

// Open returns the ids that a person is to choose from now: those of [Matcher.Asked], none
// while the pan may be empty.
func (m *Matcher) Open() []string {
	if m.cleared {
		return nil
	}
	return m.asked
}

// See takes in a reading. settledG is the settled weight, if there is one; change is what
// the reading did to the pan of the mix that is weighed, on; waiting are the cups of the
// mixes that were set aside, by id. on is nil if no mix is weighed.
//
// It returns the id of the waiting mix whose cup was recognised, empty if none was. The
// caller then goes on with that mix ([guide.Mix.TakenUp]) and calls [Matcher.Known].
func (m *Matcher) See(r weigh.Reading, settledG float64, settled bool, change weigh.Change, on *Cup, waiting []Cup) (recognised string) {
	m.observe(r, settled)
	if len(waiting) == 0 {
		m.asked = nil
		return ""
	}
	if !settled {
		return ""
	}
	g := settledG
	if len(m.Open()) > 0 {
		if m.empty(g) {
			m.clear(g, on, waiting)
		}
		return ""
	}
	var fit []string
	setDown := false // the last that fits was set down on an empty pan
	for _, c := range waiting {
		if fits, down := m.fits(&c, on, g); fits {
			fit, setDown = append(fit, c.ID), down
		}
	}
	switch {
	case len(fit) == 0 && m.empty(g):
		m.clear(g, on, waiting)
	case len(fit) == 0:
		// While it is asked, a cup that came back with more in it may be that of any of them.
		if on != nil && (on.Mix.Stands(g) || change == weigh.Returned && len(m.asked) == 0) {
			m.Known()
		}
		m.cleared = false // if it was asked about, it was tared and is poured into
	case len(fit) == 1 && setDown && !m.empty(g) && (on == nil || on.Mix.Step.Stirs() && !m.mayBe(on, g)):
		return fit[0]
	default:
		m.ask(fit, on, g)
	}
	return ""
}

// observe follows the levels of a scale.
func (m *Matcher) observe(r weigh.Reading, settled bool) {
	if !r.HasWeight || r.Over || r.Under {
		return
	}
	m.lowestG = min(m.lowestG, r.Grams)
	if !math.IsInf(m.peakG, -1) {
		m.peakG = max(m.peakG, r.Grams)
	}
	if !settled {
		return
	}
	if !(math.Abs(r.Grams-m.levelG) <= 2*m.divisionG) {
		m.beforeG = m.levelG
		if m.beforeG < -2*m.divisionG {
			m.negativeG = append(slices.Clone(m.negativeG[max(0, len(m.negativeG)-mostNegative+1):]), m.beforeG)
		}
	}
	m.levelG = r.Grams
}

// SetDown reports whether the settled weight was set down on an empty pan that showed zero: the level
// before it was that of an untared, empty pan.
func (m *Matcher) SetDown() bool { return math.Abs(m.beforeG) <= m.emptyWithinG() }

// FellTo reports whether the scale has shown so many g or less since [Matcher.Known], or whether that is not known.
func (m *Matcher) FellTo(g float64) bool { return m.lowestG <= g }

// ask notes that a person is to say whose cup stands on the scale: that of one of these
// mixes, or of the one that is weighed.
func (m *Matcher) ask(of []string, on *Cup, g float64) {
	if on != nil {
		of = append(of, on.ID)
		slices.Sort(of)
	}
	m.asked, m.askedG, m.cleared, m.emptied = of, g, false, false
}

// clear takes in that the scale shows what an empty pan shows, or a tared cup.
func (m *Matcher) clear(g float64, on *Cup, waiting []Cup) {
	tared := slices.ContainsFunc(waiting, func(w Cup) bool {
		return w.begun() && m.peakG >= g+w.Mix.GrossG(0).G/2
	})
	if len(m.asked) == 0 && tared { // any cup may have been set down and tared at once
		var all []string
		for _, w := range waiting {
			all = append(all, w.ID)
		}
		m.ask(all, on, g)
	}
	if len(m.asked) > 0 {
		m.cleared, m.askedG, m.emptied = true, g, g < -m.emptyWithinG()
	}
	m.peakG = g
}

// fits reports whether a waiting cup can be what the scale shows, and whether it was set
// down on an empty pan just now.
func (m *Matcher) fits(c, on *Cup, g float64) (fits, setDown bool) {
	if !c.begun() {
		return false, false
	}
	zeros, stood := m.zerosG, c.Gross.G
	if on != nil && (!on.begun() || !on.Mix.GrossG(0).Known()) {
		zeros = m.anyZeros()
	}
	if on != nil && on.begun() {
		stood = min(stood, on.Mix.GrossG(0).G)
	}
	// A lighter cup that is set down may have been taken for that of the weighed mix just now. What seems
	// to be tared is then another than before that reading, though nobody tared.
	for _, tared := range slices.Concat(zeros, m.formerG) {
		if m.holds(c.Gross, g, tared) && m.mayBeEmptied(stood, tared) {
			fits = true
			setDown = setDown || c.Gross.Known() && math.Abs(m.beforeG+tared) <= m.emptyWithinG()
		}
	}
	return fits, setDown
}

// mayBeEmptied reports whether the pan may have been empty since it was last known whose
// cup stands there, which weighs so much, when so much may be tared. Half of it is low
// enough: a filter need not have come to rest before the next cup was set down.
func (m *Matcher) mayBeEmptied(cupG, taredG float64) bool { return m.lowestG <= cupG/2-taredG }

// anyZeros are what may be tared while no mix tells: a new one waits for its cup, or one
// has a cup whose weight is not known.
func (m *Matcher) anyZeros() []float64 {
	zeros := slices.Clone(m.zerosG)
	for _, below := range m.negativeG {
		zeros = append(zeros, -below)
	}
	return zeros
}

// holds reports whether a reading can be of so much gross weight when so much is tared.
// What was tared is known from a cup of which something may have clung to a stick.
func (m *Matcher) holds(gross guide.Span, g, tared float64) bool {
	slack := 0.0
	if tared != 0 {
		slack = m.slackG
	}
	return g+tared >= gross.LowG && g+tared-slack <= gross.HighG
}

// mayBe reports whether a reading can be that of the mix that is weighed. The scale may have been
// tared with another cup on it, of which the mix does not know.
func (m *Matcher) mayBe(on *Cup, g float64) bool { return m.shows(on.Mix.GrossG(0), g) }

// shows reports whether a reading can be of so much gross weight.
func (m *Matcher) shows(gross guide.Span, g float64) bool {
	return slices.ContainsFunc(m.anyZeros(), func(tared float64) bool { return m.holds(gross, g, tared) })
}

// empty reports whether a reading is that of an empty pan.
func (m *Matcher) empty(g float64) bool {
	return slices.ContainsFunc(m.zerosG, func(tared float64) bool { return math.Abs(g+tared) <= m.emptyWithinG() })
}

func (m *Matcher) emptyWithinG() float64 { return max(2*m.divisionG, emptyPanG) }
