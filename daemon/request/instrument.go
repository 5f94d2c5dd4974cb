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

// VerifySensor records one point of a check of a sensor: a salt, or what a reference meter shows.
type VerifySensor struct {
	Sensor       string   `json:"sensor,omitempty" hidden:"true" doc:"id of the sensor"`
	HumidityPct  *float64 `json:"humidity_pct,omitempty" minimum:"0" maximum:"100" doc:"relative humidity that a reference meter shows, in %; leave it out with salt"`
	Salt         string   `json:"salt,omitempty" enum:"lithium-chloride,magnesium-chloride,potassium-carbonate,sodium-chloride,potassium-chloride,potassium-sulphate" doc:"salt whose saturated solution the sensor is over; its humidity at the temperature is looked up"`
	TemperatureC *float64 `json:"temperature_c,omitempty" minimum:"-40" maximum:"80" doc:"temperature of the reference in °C; default: what the sensor reads"`
	AccuracyPct  *float64 `json:"accuracy_pct,omitempty" minimum:"0.1" maximum:"5" doc:"accuracy of the reference meter in % relative humidity; default 1"`
	Override     string   `json:"override,omitempty" maxLength:"200" doc:"why the check is recorded although the sensor has not come to rest over the salt"`
	Note         string   `json:"note,omitempty" maxLength:"200" doc:"what the reference was, or anything worth keeping"`
}

// AcceptCorrection accepts the correction that the newest check of a sensor led to.
type AcceptCorrection struct {
	Sensor string `json:"sensor,omitempty" hidden:"true" doc:"id of the sensor"`
}

// RevokeCorrection ends the correction of a sensor's readings.
type RevokeCorrection struct {
	Sensor string `json:"sensor,omitempty" hidden:"true" doc:"id of the sensor"`
}

// ReplaceDevice records that another instrument is in the place of one.
type ReplaceDevice struct {
	Sensor string `json:"sensor,omitempty" hidden:"true" doc:"id of the sensor or scale"`
	Serial string `json:"serial,omitempty" maxLength:"60" doc:"serial number of the new instrument"`
	Same   bool   `json:"same,omitempty" doc:"it is the same instrument at another address: its checks and its correction stay"`
	Note   string `json:"note,omitempty" maxLength:"200" doc:"anything worth keeping"`
}

// VerifyScale records a check of a scale with weights.
type VerifyScale struct {
	Scale       string      `json:"scale,omitempty" hidden:"true" doc:"id of the scale"`
	Class       string      `json:"class,omitempty" enum:"I,II,III,IIII" doc:"accuracy class of the scale by OIML R 76; default: III where interval and capacity allow it"`
	IntervalG   *float64    `json:"interval_g,omitempty" minimum:"0.001" maximum:"100" doc:"verification scale interval e in g; default: the division of its display"`
	CapacityG   *float64    `json:"capacity_g,omitempty" minimum:"1" maximum:"100000" doc:"maximum capacity in g; default: that of the configuration"`
	WeightClass string      `json:"weight_class" enum:"E1,E2,F1,F2,M1,M2,M3" doc:"class of the weights by OIML R 111"`
	Loads       []ScaleLoad `json:"loads" maxItems:"10" doc:"the loads that were weighed, at least one of them three times (six for the classes I and II)"`
	Note        string      `json:"note,omitempty" maxLength:"200" doc:"the weights' certificate, or anything worth keeping"`
}

// ScaleLoad is one load of a check.
type ScaleLoad struct {
	WeightsG  []float64 `json:"weights_g" maxItems:"20" doc:"nominal masses of the weights on the pan in g"`
	ReadingsG []float64 `json:"readings_g" maxItems:"20" doc:"what the scale showed each time, less what it showed empty, in g"`
}

func (TakeOutOfService) Verb() string { return "out-of-service" }

func (VerifySensor) Verb() string { return "verifications" }

func (PutInService) Verb() string { return "in-service" }

func (AcceptCorrection) Verb() string { return "accept-correction" }

func (RevokeCorrection) Verb() string { return "revoke-correction" }

func (ReplaceDevice) Verb() string { return "replaced" }

func (VerifyScale) Verb() string { return "scale-verifications" }
