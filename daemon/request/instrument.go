package request

import "time"

// TakeOutOfService begins the maintenance of a sensor or a scale: its alarms are silent.
type TakeOutOfService struct {
	Sensor string    `json:"sensor,omitempty" hidden:"true" doc:"id of the sensor or scale"`
	Until  time.Time `json:"until" doc:"end of the maintenance, at most 30 days from now"`
	Reason string    `json:"reason" minLength:"1" maxLength:"200" doc:"why the device is out of service"`
}

// PutInService ends the maintenance of a sensor or a scale before its time.
type PutInService struct {
	Sensor string `json:"sensor,omitempty" hidden:"true" doc:"id of the sensor or scale"`
}

// VerifySensor records a check of a sensor against a reference.
type VerifySensor struct {
	Sensor       string   `json:"sensor,omitempty" hidden:"true" doc:"id of the sensor"`
	HumidityPct  *float64 `json:"humidity_pct" minimum:"0" maximum:"100" doc:"relative humidity of the reference in %: a salt point or a better meter"`
	TemperatureC *float64 `json:"temperature_c,omitempty" minimum:"-40" maximum:"80" doc:"temperature of the reference in °C"`
	Note         string   `json:"note,omitempty" maxLength:"200" doc:"what the reference was, or anything worth keeping"`
}

func (TakeOutOfService) Verb() string { return "out-of-service" }

func (VerifySensor) Verb() string { return "verifications" }

func (PutInService) Verb() string { return "in-service" }
