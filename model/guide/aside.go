package guide

import (
	"math"
	"time"

	"potlifed/model/weigh"
)

// A mix that is set aside has its cup somewhere else than on the scale, while another
// mix is weighed there. What its cup weighs is known, so that it can be told from
// others when it comes back.

// By how much the weight of a cup may differ from what it should be. Assumptions, no source.
const (
	cupsDifferShare = 0.1 // of an empty cup's weight: the difference between cups of one kind
	cupsDifferG     = 1.0
	leastCupG       = 3.0 // less than this is not a cup, but what is left of one after a tare
	lostPerHour     = 0.1 // the most thinner that evaporates from an open cup, as a share of it
)

// Span is a weight that is known to lie between two limits, in g.
type Span struct {
	G     float64 `json:"g"` // the most likely weight
	LowG  float64 `json:"low_g"`
	HighG float64 `json:"high_g"` // +Inf when the cup's own weight is not known
}

// Holds reports whether a weight lies within the span.
func (s Span) Holds(g float64) bool { return g >= s.LowG && g <= s.HighG }

// Known reports whether the weight has an upper limit.
func (s Span) Known() bool { return !math.IsInf(s.HighG, 1) }

// GrossG returns the weight of the cup with its content, in g, after it was off the scale for
// the given time. It is the weight of the empty cup, as weighed or else as configured, plus what
// was poured. The span allows for what may cling to a stick or evaporate, for a division in
// both directions, and for a pour that was not taken when the cup left the scale.
func (m Mix) GrossG(away time.Duration) Span {
	poured := m.Poured()
	slack := 2 * m.Recipe.DivisionG
	lost := min(max(away.Hours(), 0)*lostPerHour, 1) * poured.ThinnerG
	if poured.TotalG() > 0 {
		lost += weigh.Clinging(poured.TotalG(), m.Recipe.DivisionG)
	}
	total := poured.TotalG() + m.UndoneG
	notTaken := max(m.Pan.HeldG-m.Pan.BaseG-m.UndoneG, 0)
	s := Span{G: total, LowG: total - lost - slack, HighG: total + slack + notTaken}
	switch {
	case m.cupWeighed():
		s.shift(m.CupG)
	case m.Recipe.CupEmptyG >= leastCupG: // it was tared
		differs := max(cupsDifferG, cupsDifferShare*m.Recipe.CupEmptyG)
		s.shift(m.Recipe.CupEmptyG)
		s.LowG -= differs
		s.HighG += differs
	default:
		s.HighG = math.Inf(1)
	}
	return s
}

// cupWeighed reports whether the cup was confirmed at its own weight, and not at what was left
// of it after a tare.
func (m Mix) cupWeighed() bool {
	usual := m.Recipe.CupEmptyG
	return m.CupG >= leastCupG && (usual < leastCupG || math.Abs(m.CupG-usual) <= max(2*cupsDifferG, 2*cupsDifferShare*usual))
}

func (s *Span) shift(by float64) { s.G, s.LowG, s.HighG = s.G+by, s.LowG+by, s.HighG+by }

// ZerosG returns the possible tares of the scale, in g: by how much a reading may be below the
// gross weight. 0, for no tare, always comes first. The tare by the mix's pan follows, if it is
// larger than what a stirring stick may carry off. While it is not decided whether the scale was
// tared, the list has the values of both cases.
func (m Mix) ZerosG() []float64 {
	zeros := []float64{0}
	gross := m.GrossG(0)
	if !gross.Known() || m.Step == Cup {
		return zeros
	}
	add := func(tared float64) {
		if math.Abs(tared) > weigh.Clinging(gross.G, m.Recipe.DivisionG) {
			zeros = append(zeros, tared)
		}
	}
	tared := gross.G - m.Pan.BaseG - m.UndoneG
	add(tared)
	switch m.Pan.State {
	case weigh.PanZeroed, weigh.PanAsked:
		add(tared - m.Pan.ShiftG)
	case weigh.PanRising: // it counts as tared, which may still be undone
		add(tared + m.Pan.ShiftG)
	}
	return zeros
}

// CanBeCup reports whether a weight in g that appears on an empty pan at once can be a cup, of any kind.
func CanBeCup(g float64) bool { return g >= leastCupG }

// EmptyCup reports whether a reading can be an empty cup of the mix's kind, and not a pour of
// the same mass.
func (m Mix) EmptyCup(readingG float64) bool {
	usual := m.Recipe.CupEmptyG
	if m.cupWeighed() {
		usual = m.CupG
	}
	return usual >= leastCupG && math.Abs(readingG-usual) <= max(cupsDifferG, cupsDifferShare*usual)
}

// Stirs reports whether the step is a stir.
func (s Step) Stirs() bool { return s == StirHardener || s == StirThinner }

// Pours reports whether something is poured and weighed in the step.
func (s Step) Pours() bool { return s == Ink || s == Hardener || s == Thinner }

// Stands reports whether a settled reading can be the cup of the mix, unchanged since the last
// part was confirmed.
func (m Mix) Stands(readingG float64) bool {
	low := m.Pan.BaseG - weigh.Clinging(m.Poured().TotalG(), m.Recipe.DivisionG)
	return m.Pan.Holds() && readingG >= low && readingG <= m.Pan.BaseG+2*m.Recipe.DivisionG
}

// Weighs reports whether the mix needs the scale, so that another one must not be weighed before
// this pour is confirmed. It does not need the scale during a stir, nor before anything of a
// part was poured, as far as the scale shows.
func (m Mix) Weighs(readingG float64, settled bool) bool {
	if !m.Step.Pours() {
		return m.Step == PourOver
	}
	near := func(g float64) bool { return math.Abs(g-m.Pan.BaseG) <= m.Recipe.DivisionG*(1+1e-6) }
	if m.Pan.Holds() {
		return !settled || !near(readingG)
	}
	return !near(m.Pan.HeldG)
}

// TakenUp returns the mix after its cup was put on the scale again, with a settled reading.
// Everything poured from now on is above that reading, and so is what was undone.
func (m Mix) TakenUp(readingG float64) Mix {
	if m.Step == PourOver { // its old cup is followed no more
		return m
	}
	next := m.Weighed(weigh.NewPan(readingG))
	next.Pan.BaseG -= m.UndoneG
	next.Pan.CupTared = readingG < m.GrossG(0).LowG && m.Step != Cup
	if m.Step == Cup {
		next.Pan = weigh.Pan{}
	}
	return next
}

// Awaited returns the mix in the state in which it waits for its cup to be put on the scale
// again. emptyG is the reading of the empty pan in g; it is below zero when the cup's weight is
// tared.
func (m Mix) Awaited(emptyG float64) Mix {
	if m.Step == PourOver {
		return m
	}
	if m.Step == Cup {
		m.Pan = weigh.Pan{}
		return m
	}
	held := emptyG + m.GrossG(0).G
	next := m.Weighed(weigh.NewPan(held))
	next.Pan.BaseG -= m.UndoneG
	next.Pan.State, next.Pan.ShiftG = weigh.PanZeroed, -held
	if emptyG < -2*m.Recipe.DivisionG {
		next.Pan.State, next.Pan.ShiftG = weigh.PanAway, 0
		next.Pan.AwayG, next.Pan.CupTared = emptyG, true
	}
	return next
}
