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
		return "a mix is ready for an empty press, or somebody must look at a batch"
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
	// AdhesionFirst: the risk is above all that prints do not adhere any more, which nobody sees in the cup.
	AdhesionFirst bool
	// TestFailed: the last test of a print of the batch failed.
	TestFailed bool

	FaultOpen bool // a ratio or order fault that nobody has overridden
	Resting   bool
	// RatioReason is why a person uses the batch although it is out of ratio; empty when it is in ratio.
	RatioReason string

	QualityBad       bool
	QualityUncertain bool
	// Doubtful is the id of the sensor for which the figures are uncertain; empty for another reason.
	Doubtful       string
	AtLeast        bool // the age is only a lower limit
	Starting       bool // the first seconds of the service
	ContentUnknown bool // what stands on the press was lost with the journal, and nobody has said it since

	PrintingWithoutBatch bool
	// Ready is the id of a mix that is ready for this press and has not been on one. It is
	// empty when there is none.
	Ready string
	// ReadyInk is the ink of Ready where it is another than the one on the press; else empty.
	ReadyInk string
	// Coming is the id of a mix for this press that is being mixed or rests. It is empty when
	// there is none.
	Coming string

	LowRemaining time.Duration // the least remaining pot life
	SoonWithin   time.Duration // warning time, mixing and rest together

	// Alarm is the name of an alarm of the press or its batch whose cause still holds and that nobody
	// has acknowledged, the most urgent one; empty when there is none. One that is over is on the
	// list of alarms, and asks for no act here.
	Alarm string
}

// Cause is why a light has its meaning, by its name on the wire. It tells apart what has one
// meaning and asks for different acts: a batch that ends soon, and one whose age is not sure.
type Cause string

// The causes that the table decides.
const (
	ReportedGoneOff      Cause = "reported-gone-off"
	PartGoneOff          Cause = "part-gone-off"
	AdhesionDoubtful     Cause = "adhesion-doubtful"
	RiskTooHigh          Cause = "risk-too-high"
	MixedWithFault       Cause = "mixed-with-fault"
	StillResting         Cause = "still-resting"
	JustStarted          Cause = "just-started"
	ContentUnknown       Cause = "content-unknown"
	AgeAtLeast           Cause = "age-at-least"
	FiguresUnknown       Cause = "figures-unknown"
	RiskUnknown          Cause = "risk-unknown"
	PrintingWithoutBatch Cause = "printing-without-batch"
	MixReady             Cause = "mix-ready"
	OlderPartGoneOff     Cause = "older-part-gone-off"
	EndsSoon             Cause = "ends-soon"
	AgeUncertain         Cause = "age-uncertain"
	EnoughLife           Cause = "enough-life"
	MixComing            Cause = "mix-coming"
	NothingLoaded        Cause = "nothing-loaded"
)

// DuplicateInstance is the cause of unknown while another instance publishes for the same bench:
// nobody can tell which of the two a lamp shows. It is not in the table.
const DuplicateInstance Cause = "duplicate-instance"

// Disputed returns the signal of every press and light while another instance is there.
func Disputed() Signal {
	return Signal{Meaning: Unknown, Flashing: Unknown.AlwaysFlashes(), Cause: DuplicateInstance}
}

// Signal is what a light shows.
type Signal struct {
	Meaning  Meaning
	Flashing bool
	Cause    Cause  // why: the first cause that holds
	Mix      string // the id of the mix that is ready or coming, where the cause is about it or it is ready; else empty
	MixInk   string // the ink of that mix where it is another than the one on the press; else empty
	Alarm    string // the name of the alarm for which it flashes; empty when there is none
	Past     bool   // the cause is EndsSoon, and the time to which the ink is safe has passed: it may end now
	Doubtful string // the id of the sensor that is in doubt, where the cause is AgeUncertain for it; else empty
	Failed   bool   // the cause is AdhesionDoubtful, and the last test of a print failed
	// RatioReason is that of the press, whatever the cause; empty when nothing is loaded.
	RatioReason string
}

// Of returns the signal for a press: the first meaning whose condition holds. A press with
// good ink stays [InOrder] while its next mix is ready; the signal names that mix.
func Of(p Press) Signal {
	var s Signal
	for _, row := range table {
		if row.holds(p) {
			s.Meaning, s.Cause = row.meaning, row.cause
			s.Past = row.cause == EndsSoon && p.LowRemaining <= 0
			s.Failed = row.cause == AdhesionDoubtful && p.TestFailed
			if row.cause == AgeUncertain {
				s.Doubtful = p.Doubtful
			}
			if row.mix != nil {
				s.Mix = row.mix(p)
				if s.Mix != "" && s.Mix == p.Ready {
					s.MixInk = p.ReadyInk
				}
			}
			break
		}
	}
	s.Alarm = p.Alarm
	if p.Loaded {
		s.RatioReason = p.RatioReason
	}
	s.Flashing = s.Meaning.AlwaysFlashes() || p.Alarm != ""
	return s
}

// table has a row for each cause; the last one always holds. A risk that is not a number
// counts as unknown.
var table = []struct {
	meaning Meaning
	cause   Cause
	holds   func(Press) bool
	mix     func(Press) string // that the cause is about; nil for none
}{
	{DoNotPrint, ReportedGoneOff, func(p Press) bool { return p.ReportedDead }, nil},
	{DoNotPrint, PartGoneOff, func(p Press) bool { return p.Loaded && p.PartWentOff }, nil},
	{DoNotPrint, AdhesionDoubtful, func(p Press) bool { return p.Loaded && (p.TestFailed || p.Risk >= p.StopAtRisk && p.AdhesionFirst) }, nil},
	{DoNotPrint, RiskTooHigh, func(p Press) bool { return p.Loaded && p.Risk >= p.StopAtRisk }, nil},
	{DoNotPrint, MixedWithFault, func(p Press) bool { return p.Loaded && p.FaultOpen }, nil},
	{DoNotPrint, StillResting, func(p Press) bool { return p.Loaded && p.Resting }, nil},
	{Unknown, JustStarted, func(p Press) bool { return p.Starting }, nil},
	{Unknown, ContentUnknown, func(p Press) bool { return p.ContentUnknown }, nil},
	{Unknown, AgeAtLeast, func(p Press) bool { return p.Loaded && p.AtLeast }, nil},
	{Unknown, FiguresUnknown, func(p Press) bool { return p.Loaded && p.QualityBad }, nil},
	{Unknown, RiskUnknown, func(p Press) bool { return p.Loaded && (math.IsNaN(p.Risk) || math.IsNaN(p.StopAtRisk)) }, nil},
	{Act, PrintingWithoutBatch, func(p Press) bool { return p.PrintingWithoutBatch }, nil},
	{Act, MixReady, func(p Press) bool { return !p.Loaded && p.Ready != "" }, ready},
	{Act, OlderPartGoneOff, func(p Press) bool { return p.Loaded && p.PartWentOffElder }, nil},
	{Soon, EndsSoon, func(p Press) bool { return p.Loaded && p.LowRemaining <= p.SoonWithin }, ready},
	{Soon, AgeUncertain, func(p Press) bool { return p.Loaded && p.QualityUncertain }, nil},
	{InOrder, EnoughLife, func(p Press) bool { return p.Loaded }, ready},
	{Empty, MixComing, func(p Press) bool { return p.Coming != "" }, coming},
	{Empty, NothingLoaded, func(Press) bool { return true }, nil},
}

func ready(p Press) string  { return p.Ready }
func coming(p Press) string { return p.Coming }

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

// LessTrusted returns that of two signals of one press by which a person would trust the ink less. It
// goes by the order of the table, in which [Empty] is before [InOrder] here: only the latter says
// that the ink may be used. Of two equal meanings the one that flashes is returned, else a.
func LessTrusted(a, b Signal) Signal {
	rank := func(s Signal) int {
		if s.Meaning == InOrder {
			return len(Meanings())
		}
		return s.Meaning.rank()
	}
	if rank(b) < rank(a) || rank(b) == rank(a) && b.Flashing && !a.Flashing {
		return b
	}
	return a
}

func before(a, b Signal) bool {
	if a.Meaning.rank() != b.Meaning.rank() {
		return a.Meaning.rank() < b.Meaning.rank()
	}
	return a.Flashing && !b.Flashing
}
