package alarm

import (
	"slices"
	"time"

	"potlifed/model/cure"
)

// Priority is how soon somebody has to act.
type Priority string

// The priorities, the most urgent first.
const (
	High   Priority = "high"   // prints are being spoiled, or the figures shown cannot be relied on
	Medium Priority = "medium" // within the hour
	Low    Priority = "low"    // within the day
)

// Subject is the kind of thing that an alarm is about.
type Subject string

// The subjects.
const (
	Batch  Subject = "batch"
	Press  Subject = "press"
	Zone   Subject = "zone"
	Sensor Subject = "sensor"
	Scale  Subject = "scale"
	Trend  Subject = "trend" // an instrument that follows a batch
	Light  Subject = "light"
	Bench  Subject = "bench"
)

// Definition defines one alarm. Its cause, limit and response are described elsewhere, by its name
// and in the language of the shop.
type Definition struct {
	Name     string
	Subject  Subject
	Priority Priority
	Delays   Delays
	Settings string // the keys of the configuration that set its limit; empty for a fixed limit
	// NeedsAir: the alarm is suppressed while the sensor that it depends on is lost. The alarms
	// of a batch that ends, is at risk or is dead are never suppressed: without a sensor they
	// are raised earlier.
	NeedsAir bool
}

// The names of the alarms on the wire. They never change.
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
	SensorStuck    = "sensor-stuck"
	SensorDrifting = "sensor-drifting"
	SensorFailing  = "sensor-failing"
	SensorJumping  = "sensor-jumping"
	TrendDoubted   = "trend-doubted"
	ScaleSilent    = "scale-silent"
	ScaleOverdue   = "scale-overdue"
	ScaleNoisy     = "scale-noisy"
	ScaleDrifting  = "scale-drifting"
	LightSilent    = "light-silent"
	ClockUnset     = "clock"
	JournalFailing = "journal"
	DiskLow        = "disk"
	BrokerAway     = "broker"
	PlantAway      = "plant"
	QueueLong      = "queue"
	OtherInstance  = "other-instance"
	Certificate    = "certificate"
)

// The limits of alarms that have a figure. Those without a source are our choice.
const (
	// CertificateNotice is how long before its end a certificate is to be renewed.
	CertificateNotice = 14 * 24 * time.Hour
	// LeastFree is the room on the disk of the bench's data, in bytes, below which somebody has to make room. Three
	// sensors and two zones write some 10 MB a day, so that it lasts for weeks.
	LeastFree = 256 << 20
	// DeadRisk is the risk, 0 to 1, from which a batch is more likely dead than not.
	DeadRisk = cure.ExpectedRisk
	// LeftOpenRisk is the risk, 0 to 1, at the latest end of a batch's pot life.
	LeftOpenRisk = cure.HighRisk

	// DeadBandC and DeadBandPct are the dead-bands of the limits of the air, in K and %. They
	// are well above the scatter of a sensor.
	DeadBandC, DeadBandPct = 0.5, 2
	// SweatingBandK is how many K a cup must be above the dew point again before it counts as
	// dry.
	SweatingBandK = 1

	// DisagreeFactor times the sum of the accuracies of two sensors is more than two good
	// sensors in one room differ by.
	DisagreeFactor = 2

	// MostWaiting is how many messages may wait for the broker: a few minutes of a busy bench.
	MostWaiting = 1000
	// SlowWrite is how long a commit of the journal may take. A healthy memory card takes a
	// tenth of a second.
	SlowWrite = 5 * time.Second

	// MostShelved is the longest time for which an alarm may be shelved: a long shift.
	MostShelved = 12 * time.Hour
	// MostOutOfService is the longest time for which a device may be out of service.
	MostOutOfService = 30 * 24 * time.Hour

	// Uncorrected is how long a fault at the scale may stay uncorrected.
	Uncorrected = 2 * time.Minute
	// PrintsWithin is how long after a print a press counts as printing. The slowest presses
	// report once a minute.
	PrintsWithin = 2 * time.Minute
	// ChangeWithin is how long a batch may stay on its press after somebody has acknowledged
	// that it is at risk or dead.
	ChangeWithin = 15 * time.Minute
)

// CutLimit returns by how much the expected end may move earlier before an alarm is raised, when
// so much time is left. It is half an hour, or a quarter of the time left if that is less, and
// never less than the usual changes of a forecast.
func CutLimit(left time.Duration) time.Duration {
	return max(min(30*time.Minute, left/4), 5*time.Minute)
}

// MoreUrgent returns that of two names of alarms with the higher priority; of two equal ones, the first in
// the alphabet. An empty or unknown name is less urgent than any other.
func MoreUrgent(a, b string) string {
	rank := func(name string) int {
		d, _ := Find(name)
		return slices.Index([]Priority{"", Low, Medium, High}, d.Priority)
	}
	if rank(b) > rank(a) || rank(b) == rank(a) && b < a {
		return b
	}
	return a
}

// Definitions returns the definitions of all alarms, ordered by name.
func Definitions() []Definition { return slices.Clone(definitions) }

// Find returns the definition of the alarm with the given name. ok is false when there is none.
func Find(name string) (d Definition, ok bool) {
	i, ok := slices.BinarySearchFunc(definitions, name, compareName)
	if !ok {
		return Definition{}, false
	}
	return definitions[i], true
}
