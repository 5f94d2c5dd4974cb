// Package view holds what the outputs show: a snapshot of the bench, with its rows in the form
// in which they are sent. It is pure data. The bench fills it; MQTT, HTTP and the metrics read
// it. It does not depend on how records are stored.
package view

import (
	"time"

	"potlifed/model/airpath"
	"potlifed/model/lifecycle"
)

// Quality is how far a value can be relied on.
type Quality string

// The qualities, best first.
const (
	QualityGood      Quality = "good"
	QualityUncertain Quality = "uncertain"
	QualityBad       Quality = "bad"
)

// Snapshot is what the outputs show: the state, what is calculated from it, and the newest
// readings, all at one instant. It is immutable. Its JSON names are those of the wire.
type Snapshot struct {
	At      time.Time // bench time
	Mono    time.Duration
	Seq     uint64 // of the newest event on disk that it includes
	Journal string

	Bench    string
	Instance string
	Version  string
	Started  time.Time

	ClockSynced bool
	// JournalError is why the journal cannot write, empty when it can. While it cannot,
	// NotOnDisk is the number of changes that a crash would lose.
	JournalError string
	NotOnDisk    int

	Air     []Air
	Scales  []Scale
	Sensors []Sensor          // sensors and scales, as instruments
	Trends  []TrendInstrument // instruments that follow batches
	Batches []Batch           // open ones, by id
	Closed  []Batch           // recently closed ones, the newest first
	Presses []Press
	Lights  []Light
	Alarms  []Alarm
	Inks    []Ink
	Cans    []Can // the empty ones last

	MixingTakes time.Duration // as configured

	ClosedTotal []ClosedTotal   // by ink and outcome, in that order
	Ends        []BatchEnds     `json:"-"` // by outcome, for the metrics
	Lives       map[string]Life // of the batches whose first hardener is in

	// Outlooks are what the air of each zone is expected to do, by zone.
	Outlooks map[string]airpath.Outlook
}

// BatchEnds are how far the batches with one outcome were at their end, as histograms: by upper
// limit, how many were no further.
type BatchEnds struct {
	Outcome  lifecycle.Outcome
	Count    uint64
	Spent    map[float64]uint64
	SpentSum float64
	AgeS     map[float64]uint64 // limits in s
	AgeSumS  float64
}

// ClosedTotal is how many batches of an ink ended with an outcome since the journal
// began.
type ClosedTotal struct {
	Ink     string
	Outcome lifecycle.Outcome
	Count   int
}
