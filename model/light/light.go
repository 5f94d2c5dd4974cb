// Package light decides what the light of a press means. It is a pure table. The colours follow
// IEC 60073: red for danger, yellow for caution, green for normal, blue for a mandatory action,
// white for nothing in particular. Colour is never the only carrier of the meaning: each meaning
// has a word.
package light

import (
	"math"
	"time"
)

// Meaning is what a light means, by its name on the wire.
type Meaning string

// The meanings. The first one whose condition holds wins.
const (
	DoNotPrint Meaning = "do-not-print"
	Unknown    Meaning = "unknown"
	Act        Meaning = "act"
	Soon       Meaning = "soon"
	InOrder    Meaning = "in-order"
	Empty      Meaning = "empty"
)

// Meanings returns all meanings in the order of the table.
func Meanings() []Meaning { return []Meaning{DoNotPrint, Unknown, Act, Soon, InOrder, Empty} }

// Colour returns the name of the meaning's colour. A word that is not a meaning has the colour
// of [Unknown].
func (m Meaning) Colour() string {
	switch m {
	case DoNotPrint:
		return "red"
	case Act:
		return "blue"
	case InOrder:
		return "green"
	case Empty:
		return "white"
	}
	return "yellow"
}

// When returns in words when a light has this meaning. A word that is not a meaning has the
// words of [Unknown].
func (m Meaning) When() string {
	switch m {
	case DoNotPrint:
		return "the mix has gone off, or may have; its ratio or order was wrong; or it still rests"
	case Act:
		return "something waits for a person"
	case Soon:
		return "it is time to make the next mix, or the figures are uncertain"
	case InOrder:
		return "none of the others applies"
	case Empty:
		return "nothing is loaded"
	}
	return "a batch is loaded whose age or air is not known; also when contact with potlifed is lost"
}

// AlwaysFlashes reports whether the meaning flashes even without an alarm. Flashing
// distinguishes the yellow of unknown from the yellow of soon.
func (m Meaning) AlwaysFlashes() bool { return m == Unknown }

// rank returns the place in the table. A word that is not a meaning has the rank of [Unknown].
func (m Meaning) rank() int {
	for i, x := range Meanings() {
		if m == x {
			return i
		}
	}
	return Unknown.rank()
}

// Press holds everything that decides the meaning of one press.
type Press struct {
	Loaded bool // a batch is on the press

	// ReportedDead: somebody reported that the batch went off. It stays true after the batch was
	// closed, until the press is unloaded or loaded again.
	ReportedDead bool
	// PartWentOff: another part of the same mix went off, this part has spent as much of its
	// life or more, and nobody has found it good since.
	PartWentOff bool
	// PartWentOffElder: the same, but the part that went off had spent more of its life.
	PartWentOffElder bool

	Risk       float64 // the probability that the batch is dead by now, 0 to 1
	StopAtRisk float64
	FaultOpen  bool // a ratio or order fault that nobody has overridden
	Resting    bool

	QualityBad       bool
	QualityUncertain bool
	AtLeast          bool // the age is only a lower limit
	Starting         bool // the first seconds of the service

	PrintingWithoutBatch bool
	Awaits               bool // something waits for a person at this press

	LowRemaining time.Duration // the least remaining pot life
	SoonWithin   time.Duration // warning time, mixing and rest together

	Unacknowledged bool // an alarm of the press or its batch is not acknowledged
}

// Signal is what a light shows.
type Signal struct {
	Meaning  Meaning
	Flashing bool
	Reason   string // why, in a sentence for a person: the first cause that holds
}

// Of returns the signal for a press: the first meaning whose condition holds.
func Of(p Press) Signal {
	s := Signal{Meaning: Empty, Reason: "nothing loaded"}
	for _, row := range table {
		if row.holds(p) {
			s.Meaning, s.Reason = row.meaning, row.reason
			break
		}
	}
	s.Flashing = s.Meaning.AlwaysFlashes() || p.Unacknowledged
	return s
}

// table has a row for each cause. A risk that is not a number counts as unknown.
var table = []struct {
	meaning Meaning
	holds   func(Press) bool
	reason  string
}{
	{DoNotPrint, func(p Press) bool { return p.ReportedDead }, "reported as gone off"},
	{DoNotPrint, func(p Press) bool { return p.Loaded && p.PartWentOff }, "a part of the same mix went off"},
	{DoNotPrint, func(p Press) bool { return p.Loaded && p.Risk >= p.StopAtRisk }, "too likely to have gone off"},
	{DoNotPrint, func(p Press) bool { return p.Loaded && p.FaultOpen }, "mixed with a fault that nobody has overridden"},
	{DoNotPrint, func(p Press) bool { return p.Loaded && p.Resting }, "still resting"},
	{Unknown, func(p Press) bool { return p.Starting }, "just started"},
	{Unknown, func(p Press) bool { return p.Loaded && p.AtLeast }, "the age is only a lower bound"},
	{Unknown, func(p Press) bool { return p.Loaded && p.QualityBad }, "the air or the age of the batch is not known"},
	{Unknown, func(p Press) bool { return p.Loaded && (math.IsNaN(p.Risk) || math.IsNaN(p.StopAtRisk)) }, "the risk is not known"},
	{Act, func(p Press) bool { return p.PrintingWithoutBatch }, "printing without a batch"},
	{Act, func(p Press) bool { return p.Awaits }, "waiting for somebody"},
	{Act, func(p Press) bool { return p.Loaded && p.PartWentOffElder }, "an older part of the same mix went off: look at this one"},
	{Soon, func(p Press) bool { return p.Loaded && p.LowRemaining <= p.SoonWithin }, "ends soon: make the next mix"},
	{Soon, func(p Press) bool { return p.Loaded && p.QualityUncertain }, "what remains is uncertain"},
	{InOrder, func(p Press) bool { return p.Loaded }, "enough life left"},
}

// Worst returns the index of the signal that a light for several presses shows. It is the first
// in the order of the table. Of two equal meanings, one that flashes is before one that does
// not, and otherwise the first one given. It is -1 when there are no signals.
func Worst(signals []Signal) int {
	worst := -1
	for i, s := range signals {
		if worst < 0 || before(s, signals[worst]) {
			worst = i
		}
	}
	return worst
}

func before(a, b Signal) bool {
	if a.Meaning.rank() != b.Meaning.rank() {
		return a.Meaning.rank() < b.Meaning.rank()
	}
	return a.Flashing && !b.Flashing
}
