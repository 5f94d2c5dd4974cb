package request

import "time"

// TakeOutOfService begins the maintenance of a sensor or a scale: the alarms that are
// about it are silent.
type TakeOutOfService struct {
	Sensor string    `json:"sensor,omitempty" hidden:"true"`
	Until  time.Time `json:"until" doc:"at most 30 days ahead"`
	Reason string    `json:"reason" minLength:"1" maxLength:"200"`
}

// PutInService ends the maintenance of a sensor or a scale before its time.
type PutInService struct {
	Sensor string `json:"sensor,omitempty" hidden:"true"`
}

// VerifySensor records a check of a sensor: what the air was by a reference.
type VerifySensor struct {
	Sensor       string   `json:"sensor,omitempty" hidden:"true"`
	HumidityPct  *float64 `json:"humidity_pct" doc:"by the reference: a salt point or a better meter" minimum:"0" maximum:"100"`
	TemperatureC *float64 `json:"temperature_c,omitempty" doc:"by the reference" minimum:"-40" maximum:"80"`
	Note         string   `json:"note,omitempty" maxLength:"200"`
}

func (TakeOutOfService) Verb() string { return "out-of-service" }

func (VerifySensor) Verb() string { return "verifications" }

func (PutInService) Verb() string { return "in-service" }
