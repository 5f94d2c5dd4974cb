package record

import (
	"maps"
	"time"

	"potlifed/model/air"
)

// KindSensorVerified is the kind of [SensorVerified].
const KindSensorVerified Kind = "sensor-verified"

// SensorVerified records a check of a sensor: the reference, and the sensor's reading at
// that time.
type SensorVerified struct {
	Sensor       string     `json:"sensor" doc:"id of the sensor"`
	HumidityPct  float64    `json:"humidity_pct" doc:"relative humidity of the reference in %"`
	TemperatureC *float64   `json:"temperature_c,omitempty" doc:"temperature of the reference in °C"`
	Read         *air.State `json:"read,omitempty" doc:"what the sensor read; absent when it had no recent reading"`
	Note         string     `json:"note,omitempty" doc:"what the reference was, or anything worth keeping"`
	Failed       bool       `json:"failed,omitempty" doc:"sensor and reference differ by more than allowed_pct"`
	AllowedPct   float64    `json:"allowed_pct,omitempty" doc:"permitted difference in % relative humidity"`
}

// FailedCheck is a check whose deviation was larger than allowed. It is kept until a later
// check passes.
type FailedCheck struct {
	At           time.Time `json:"at"`
	ReadPct      float64   `json:"read_pct"`
	ReferencePct float64   `json:"reference_pct"`
	AllowedPct   float64   `json:"allowed_pct"`
}

func (SensorVerified) Kind() Kind    { return KindSensorVerified }
func (SensorVerified) About() string { return "" }

func (e SensorVerified) apply(s *State, r Record) {
	s.FailedChecks = maps.Clone(s.FailedChecks)
	if e.Failed && e.Read != nil {
		if s.FailedChecks == nil {
			s.FailedChecks = map[string]FailedCheck{}
		}
		s.FailedChecks[e.Sensor] = FailedCheck{
			At: r.Stamp.At, ReadPct: e.Read.HumidityPct, ReferencePct: e.HumidityPct, AllowedPct: e.AllowedPct,
		}
		return
	}
	delete(s.FailedChecks, e.Sensor)
	s.Verified = maps.Clone(s.Verified)
	if s.Verified == nil { // a checkpoint of a version that did not record checks
		s.Verified = map[string]time.Time{}
	}
	s.Verified[e.Sensor] = r.Stamp.At
}
