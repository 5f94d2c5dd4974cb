package record

import (
	"maps"
	"math"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/air"
	"potlifed/model/verify"
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
	Salt         string     `json:"salt,omitempty" doc:"id of the salt whose saturated solution was the reference; absent for a meter"`
	Override     string     `json:"override,omitempty" doc:"why the check was recorded before the reading had come to rest"`
	// Points are those of the whole check, this one included. They are absent in events of
	// versions that judged each point by itself.
	Points  []CheckPoint             `json:"points,omitempty" doc:"the points of the check so far, this one included, in the order of their references"`
	Finding verify.Finding           `json:"finding,omitempty" enum:"shifted,solvent" doc:"what the points say: shifted (off by about the same everywhere) or solvent (low where humid and right where dry)"`
	Offer   *verify.LinearCorrection `json:"offer,omitempty" doc:"correction that a person may accept; absent when the check passed, or no correction helps"`
}

// CheckPoint is one point of a check of a sensor.
type CheckPoint struct {
	At           time.Time  `json:"at" doc:"when it was recorded"`
	Salt         string     `json:"salt,omitempty" doc:"id of the salt; absent for a meter"`
	RawPct       float64    `json:"raw_pct" doc:"what the sensor read without its correction, in % relative humidity"`
	ReadPct      float64    `json:"read_pct" doc:"what it read with its correction"`
	ReferencePct float64    `json:"reference_pct" doc:"relative humidity of the reference in %"`
	StandardPct  float64    `json:"standard_pct" doc:"standard uncertainty of the difference in % relative humidity"`
	AllowedPct   float64    `json:"allowed_pct" doc:"permitted difference in % relative humidity"`
	Failed       bool       `json:"failed,omitempty" doc:"the difference is larger than allowed_pct"`
	By           actor.Name `json:"by,omitempty" doc:"who recorded it; absent in events of older versions"`
	Note         string     `json:"note,omitempty" doc:"what the reference was, or anything worth keeping"`
	Override     string     `json:"override,omitempty" doc:"why it was recorded before the reading had come to rest"`
}

// SensorCheck is the newest check of a sensor, as far as it has got.
type SensorCheck struct {
	Points  []CheckPoint             `json:"points"`
	Finding verify.Finding           `json:"finding,omitempty"`
	Offer   *verify.LinearCorrection `json:"offer,omitempty"`
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
	if e.Points != nil {
		s.setCheck(e.Sensor, SensorCheck{Points: e.Points, Finding: e.Finding, Offer: e.Offer}, r.Stamp.At)
		if _, failed := s.FailedChecks[e.Sensor]; !failed { // it is right: drift is judged from now on
			s.forgetDays(e.Sensor)
		}
		return
	}
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
	s.setVerified(e.Sensor, r.Stamp.At)
}

func (s *State) setVerified(sensor string, at time.Time) {
	s.Verified = maps.Clone(s.Verified)
	if s.Verified == nil { // a checkpoint of a version that did not record checks
		s.Verified = map[string]time.Time{}
	}
	s.Verified[sensor] = at
}

// setCheck takes the points of a check into the state. The sensor has passed when each of them
// has: from then on the check is good until the next is due.
func (s *State) setCheck(sensor string, c SensorCheck, at time.Time) {
	s.Checks = maps.Clone(s.Checks)
	if s.Checks == nil {
		s.Checks = map[string]SensorCheck{}
	}
	s.Checks[sensor] = c
	s.FailedChecks = maps.Clone(s.FailedChecks)
	if s.FailedChecks == nil {
		s.FailedChecks = map[string]FailedCheck{}
	}
	delete(s.FailedChecks, sensor)
	worst := 0.0
	for _, p := range c.Points {
		if off := math.Abs(p.ReadPct - p.ReferencePct); p.Failed && off >= worst {
			worst = off
			s.FailedChecks[sensor] = FailedCheck{At: p.At, ReadPct: p.ReadPct, ReferencePct: p.ReferencePct, AllowedPct: p.AllowedPct}
		}
	}
	if worst == 0 {
		s.setVerified(sensor, at)
	}
}
