// Package view holds what the outputs see: a snapshot of the bench, with its rows as
// they stand on the wire. It is pure data; the bench fills it, and MQTT, HTTP and the
// metrics read it. It does not know how a record is kept.
package view

import (
	"time"

	"potlifed/model/lifecycle"
)

// Quality says how far a value can be relied on.
type Quality string

// The qualities, best first.
const (
	QualityGood      Quality = "good"
	QualityUncertain Quality = "uncertain"
	QualityBad       Quality = "bad"
)

// Snapshot is what the outputs see: the state with what is derived from it and with
// the newest readings, all at one instant. It is immutable; its JSON names are those
// of the wire.
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
	// JournalError is why the journal cannot write, empty when it can. While it
	// cannot, NotOnDisk counts the changes that would be lost by a crash.
	JournalError string
	NotOnDisk    int

	Air     []Air
	Scales  []Scale
	Sensors []Sensor // sensors and scales, as instruments
	Batches []Batch  // open ones, by id
	Closed  []Batch  // recently closed ones, newest first
	Presses []Press
	Lights  []Light
	Alarms  []Alarm
	Inks    []Ink
	Cans    []Can // the empty ones last

	MixingTakes time.Duration // as configured

	ClosedTotal []ClosedTotal   // by ink and outcome, in that order
	Lives       map[string]Life // of the batches whose life has begun
}

// ClosedTotal is how many batches of an ink ended with an outcome since the journal
// began.
type ClosedTotal struct {
	Ink     string
	Outcome lifecycle.Outcome
	Count   int
}
