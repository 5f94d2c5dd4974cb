package alarm

import (
	"slices"
	"time"

	"potlifed/model/cure"
)

// Priority says how soon somebody has to act.
type Priority string

// The priorities, first things first.
const (
	High   Priority = "high"   // prints are being spoiled, or nothing that is shown can be relied on
	Medium Priority = "medium" // within the hour
	Low    Priority = "low"    // within the day
)

// Subject is what an alarm is about.
type Subject string

// The subjects.
const (
	Batch  Subject = "batch"
	Press  Subject = "press"
	Zone   Subject = "zone"
	Sensor Subject = "sensor"
	Scale  Subject = "scale"
	Light  Subject = "light"
	Bench  Subject = "bench"
)

// Definition is one alarm: what page, messages and documents say of it.
type Definition struct {
	Name     string
	Subject  Subject
	Priority Priority
	Cause    string
	Limit    string // by default
	Response string // what the operator is to do
	Delays   Delays
	// NeedsAir: it is suppressed while the sensor that it looks at is lost. A batch
	// that ends, is at risk or dead never is: without a sensor it is warned of earlier.
	NeedsAir bool
}

// The names, as they are on every wire and for ever.
const (
	BatchEnding    = "batch-ending"
	BatchDead      = "batch-dead"
	BatchRisk      = "batch-risk"
	BatchLeftOpen  = "batch-left-open"
	LifeCut        = "life-cut"
	RatioOff       = "ratio-off"
	ThinnerOff     = "thinner-off"
	OrderWrong     = "order-wrong"
	NoBatch        = "no-batch"
	NotChanged     = "not-changed"
	AirOutOfRange  = "air-out-of-range"
	CupSweating    = "cup-sweating"
	SensorStale    = "sensor-stale"
	SensorOverdue  = "sensor-overdue"
	Implausible    = "sensor-implausible"
	Disagrees      = "sensor-disagrees"
	ScaleSilent    = "scale-silent"
	LightSilent    = "light-silent"
	ClockUnset     = "clock"
	JournalFailing = "journal"
	BrokerAway     = "broker"
	QueueLong      = "queue"
	OtherInstance  = "other-instance"
)

// The limits, where there is a figure. Those without a source are a choice of ours.
const (
	// DeadRisk is the risk at which a batch is more likely dead than not.
	DeadRisk = cure.ExpectedRisk
	// LeftOpenRisk is the risk at a batch's high end.
	LeftOpenRisk = cure.HighRisk

	// DeadBandC and DeadBandPct are the dead-bands of the air's limits, in K and %: well
	// above the scatter of a sensor.
	DeadBandC, DeadBandPct = 0.5, 2
	// SweatingBandK is how far above the dew point a cup must be again to be dry.
	SweatingBandK = 1

	// DisagreeFactor times the sum of both sensors' accuracies is more than two good
	// sensors in one room differ by.
	DisagreeFactor = 2

	// MostWaiting messages are a few minutes of a busy bench.
	MostWaiting = 1000
	// SlowWrite is how long a commit may take: a healthy card needs a tenth of a second.
	SlowWrite = 5 * time.Second

	// MostShelved is a long shift, the longest that an alarm may be put aside for.
	MostShelved = 12 * time.Hour
	// MostOutOfService is the longest that a device may be under maintenance for.
	MostOutOfService = 30 * 24 * time.Hour

	// Uncorrected is how long a fault at the scale may take to be put right.
	Uncorrected = 2 * time.Minute
	// PrintsWithin is how long after a print a press counts as printing: presses report a
	// minute apart at the slowest.
	PrintsWithin = 2 * time.Minute
	// ChangeWithin is how long after somebody has seen that a batch is at risk or dead it
	// may still stand on its press.
	ChangeWithin = 15 * time.Minute
)

// CutLimit is by how much the expected end may move earlier before it is an alarm,
// with so much left: half an hour, or a quarter of it where that is less, but not what
// a forecast wavers by.
func CutLimit(left time.Duration) time.Duration {
	return max(min(30*time.Minute, left/4), 5*time.Minute)
}

// Definitions returns all alarms, by name.
func Definitions() []Definition { return slices.Clone(definitions) }

// ClockNotSet is what is said of a wall clock that is not set.
const ClockNotSet = "the wall clock is not set: times may be wrong; the age of a batch is exact since the last start of the computer, and a lower bound over a power cut"

// Find returns the alarm of the given name.
func Find(name string) (d Definition, ok bool) {
	i, ok := slices.BinarySearchFunc(definitions, name, compareName)
	if !ok {
		return Definition{}, false
	}
	return definitions[i], true
}
