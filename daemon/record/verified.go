package record

import (
	"maps"
	"time"

	"potlifed/model/air"
)

// KindSensorVerified is the kind of a sensor's check.
const KindSensorVerified Kind = "sensor-verified"

// SensorVerified says that somebody has checked a sensor: what the air was by the
// reference, and what the sensor read then.
type SensorVerified struct {
	Sensor       string     `json:"sensor" doc:"id of the sensor"`
	HumidityPct  float64    `json:"humidity_pct" doc:"relative humidity of the reference in %"`
	TemperatureC *float64   `json:"temperature_c,omitempty" doc:"temperature of the reference in °C"`
	Read         *air.State `json:"read,omitempty" doc:"what the sensor read; absent when it had no recent reading"`
	Note         string     `json:"note,omitempty" doc:"what the reference was, or anything worth keeping"`
	Failed       bool       `json:"failed,omitempty" doc:"sensor and reference differ by more than allowed_pct"`
	AllowedPct   float64    `json:"allowed_pct,omitempty" doc:"permitted difference in % relative humidity"`
}

// FailedCheck is a check of a sensor that was outside what is allowed. It counts until a
// later check passes.
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
	if s.Verified == nil { // a checkpoint of before checks were recorded
		s.Verified = map[string]time.Time{}
	}
	s.Verified[e.Sensor] = r.Stamp.At
}
