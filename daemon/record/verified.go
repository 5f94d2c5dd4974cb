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
	Sensor       string     `json:"sensor"`
	HumidityPct  float64    `json:"humidity_pct"`
	TemperatureC *float64   `json:"temperature_c,omitempty"`
	Read         *air.State `json:"read,omitempty"` // nil when the sensor gave nothing fresh
	Note         string     `json:"note,omitempty"`
}

func (SensorVerified) Kind() Kind { return KindSensorVerified }

func (e SensorVerified) apply(s *State, r Record) {
	s.Verified = maps.Clone(s.Verified)
	if s.Verified == nil { // a checkpoint of before checks were recorded
		s.Verified = map[string]time.Time{}
	}
	s.Verified[e.Sensor] = r.Stamp.At
}
