package record

import (
	"maps"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/verify"
)

// The kinds about a sensor's correction, and about another instrument in place of one.
const (
	KindCorrectionAccepted Kind = "correction-accepted"
	KindCorrectionRevoked  Kind = "correction-revoked"
	KindReplaced           Kind = "replaced"
)

// CorrectionAccepted records that a person accepted the correction that a check led to. It is
// applied to the sensor's readings from then on.
type CorrectionAccepted struct {
	Sensor     string                  `json:"sensor" doc:"id of the sensor"`
	Correction verify.LinearCorrection `json:"correction" doc:"what is applied to the sensor's relative humidity"`
	Points     []CheckPoint            `json:"points" doc:"the points of the check, as corrected"`
}

// CorrectionRevoked records that the sensor's readings are no longer corrected.
type CorrectionRevoked struct {
	Sensor string                   `json:"sensor" doc:"id of the sensor"`
	Points []CheckPoint             `json:"points,omitempty" doc:"the points of the newest check, without the correction"`
	Offer  *verify.LinearCorrection `json:"offer,omitempty" doc:"correction that a person may accept again; absent when there is none"`
}

// Replaced records that another instrument is in the place of one. Its correction, its checks and
// what was learned of its noise are forgotten.
type Replaced struct {
	Device string `json:"device" doc:"id of the sensor or scale"`
	Serial string `json:"serial,omitempty" doc:"serial number of the new instrument"`
	Note   string `json:"note,omitempty" doc:"anything worth keeping"`
	Same   bool   `json:"same,omitempty" doc:"it is the same instrument at another address, or under another name: nothing is forgotten"`
}

// Correction is a correction in use.
type Correction struct {
	At time.Time  `json:"at"`
	By actor.Name `json:"by"`
	verify.LinearCorrection
}

func (CorrectionAccepted) Kind() Kind { return KindCorrectionAccepted }
func (CorrectionRevoked) Kind() Kind  { return KindCorrectionRevoked }
func (Replaced) Kind() Kind           { return KindReplaced }

func (CorrectionAccepted) About() string { return "" }
func (CorrectionRevoked) About() string  { return "" }
func (Replaced) About() string           { return "" }

func (e CorrectionAccepted) apply(s *State, r Record) {
	s.Corrections = maps.Clone(s.Corrections)
	if s.Corrections == nil {
		s.Corrections = map[string]Correction{}
	}
	s.Corrections[e.Sensor] = Correction{At: r.Stamp.At, By: r.By, LinearCorrection: e.Correction}
	s.setCheck(e.Sensor, SensorCheck{Points: e.Points}, newest(e.Points, r.Stamp.At))
	s.forgetDays(e.Sensor)
}

func (e CorrectionRevoked) apply(s *State, r Record) {
	s.Corrections = maps.Clone(s.Corrections)
	delete(s.Corrections, e.Sensor)
	s.forgetDays(e.Sensor)
	if len(e.Points) > 0 {
		s.setCheck(e.Sensor, SensorCheck{Points: e.Points, Offer: e.Offer}, newest(e.Points, r.Stamp.At))
	}
}

// newest is when the last of the points was recorded: a check is as old as its points.
func newest(points []CheckPoint, otherwise time.Time) time.Time {
	var at time.Time
	for _, p := range points {
		if p.At.After(at) {
			at = p.At
		}
	}
	if at.IsZero() {
		return otherwise
	}
	return at
}

func (e Replaced) apply(s *State, r Record) {
	s.Moved = maps.Clone(s.Moved)
	delete(s.Moved, SensorKey(e.Device))
	delete(s.Moved, ScaleKey(e.Device))
	s.Renamed = maps.Clone(s.Renamed)
	delete(s.Renamed, SensorKey(e.Device))
	delete(s.Renamed, ScaleKey(e.Device))
	if e.Same {
		return
	}
	s.Replaced = maps.Clone(s.Replaced)
	if s.Replaced == nil {
		s.Replaced = map[string]time.Time{}
	}
	s.Replaced[e.Device] = r.Stamp.At
	s.Corrections, s.Checks, s.FailedChecks = maps.Clone(s.Corrections), maps.Clone(s.Checks), maps.Clone(s.FailedChecks)
	s.Verified, s.ScaleChecks = maps.Clone(s.Verified), maps.Clone(s.ScaleChecks)
	delete(s.Corrections, e.Device)
	delete(s.Checks, e.Device)
	delete(s.FailedChecks, e.Device)
	delete(s.Verified, e.Device)
	delete(s.ScaleChecks, e.Device)
	s.forgetDays(e.Device)
	s.ScaleDays = maps.Clone(s.ScaleDays)
	delete(s.ScaleDays, e.Device)
}

// SensorKey and ScaleKey are the keys of a sensor and of a scale in State.Devices and State.Moved: a
// scale may have a sensor's id.
func SensorKey(id string) string { return "sensor/" + id }

// ScaleKey is the key of a scale, see [SensorKey].
func ScaleKey(id string) string { return "scale/" + id }

// Move is a change of the address under which the configuration names an instrument, or of the name of
// the device at its address.
type Move struct {
	At  time.Time `json:"at"`
	Was string    `json:"was"`
}

// setDevices compares the instruments' addresses with those of the run before.
func (s *State) setDevices(devices map[string]string, at time.Time) {
	if devices == nil { // a version that did not record them
		return
	}
	s.Moved, s.Names, s.Renamed = maps.Clone(s.Moved), maps.Clone(s.Names), maps.Clone(s.Renamed)
	for id, address := range devices {
		was, known := s.Devices[id]
		if !known || was == address {
			continue
		}
		if s.Moved == nil {
			s.Moved = map[string]Move{}
		}
		s.Moved[id] = Move{At: at, Was: was}
		delete(s.Names, id) // at another address another name is no second reason to ask
		delete(s.Renamed, id)
	}
	s.Devices = devices
}
