package view

import (
	"time"

	"potlifed/model/cure"
	"potlifed/model/mix"
)

// Air is a zone's air. The values are those of the last good reading and absent
// when there never was one; Time is that reading's.
type Air struct {
	Time          time.Time     `json:"time,omitzero"`
	Zone          string        `json:"zone"`
	Sensor        string        `json:"sensor,omitempty"`
	TemperatureC  *float64      `json:"temperature_c,omitempty"`
	HumidityPct   *float64      `json:"humidity_pct,omitempty"`
	DewPointC     *float64      `json:"dew_point_c,omitempty"`
	VapourDensity *float64      `json:"vapour_density_g_m3,omitempty"`
	Quality       Quality       `json:"quality"`
	Why           string        `json:"why,omitempty"`
	Mono          time.Duration `json:"-"` // when the reading was taken
	Accuracy      cure.Sensor   `json:"-"`
}

// Scale is what a scale shows. WeightG is absent when it shows none.
type Scale struct {
	Time      time.Time `json:"time,omitzero"` // of the newest line; absent before the first
	ID        string    `json:"id"`
	WeightG   *float64  `json:"weight_g,omitempty"`
	DivisionG float64   `json:"division_g"` // the finest it shows
	Stable    bool      `json:"stable"`
	Quality   Quality   `json:"quality"`
	Why       string    `json:"why,omitempty"`
	Batch     string    `json:"batch,omitempty"` // the guided mix that is being weighed on it
	// WhichCup are the mixes of which a person is to say whose cup stands on the scale,
	// by taking one up; absent while that is not asked.
	WhichCup []string `json:"which_cup,omitempty"`
	// KeyRefused is why the last press of the scale's print key changed nothing; absent
	// once that is no news.
	KeyRefused *KeyRefusal `json:"key_refused,omitempty"`
	// The bar of that mix, moving as one pours.
	Pouring *Pouring `json:"pouring,omitempty"`

	Up    bool              `json:"-"`
	Lines map[string]uint64 `json:"-"` // by result: ok, torn, unknown, overlong, overload
}

// KeyRefusal says why a press of a scale's print key changed nothing.
type KeyRefusal struct {
	At     time.Time `json:"at"`
	Code   string    `json:"code,omitempty"`
	Detail string    `json:"detail"`
}

// Pouring is the pour that a mix waits for, against the live weight.
type Pouring struct {
	Part    mix.Part `json:"part"`
	PouredG float64  `json:"poured_g"` // in this pour
	TargetG float64  `json:"target_g"`
	LowG    float64  `json:"low_g"` // from low to high is accepted
	HighG   float64  `json:"high_g"`
}

// Sensor is an instrument's condition.
type Sensor struct {
	ID        string    `json:"id"`
	Condition string    `json:"condition"` // up, stale, down; waiting before its first reading
	Since     time.Time `json:"since"`
	Detail    string    `json:"detail,omitempty"`
	// OutOfService is until when the device is under maintenance.
	OutOfService *time.Time `json:"out_of_service_until,omitempty"`
	// Checked is when a sensor's humidity was checked last, CheckDue when the next check
	// is due; nil for a sensor that is never due.
	Checked  *time.Time `json:"checked_at,omitempty"`
	CheckDue *time.Time `json:"check_due_at,omitempty"`
	// CheckFailed is why the last check did not pass, empty when it did.
	CheckFailed string `json:"check_failed,omitempty" doc:"why the sensor's last check did not pass; absent when it did"`

	Zone     string            `json:"-"`
	Scale    bool              `json:"-"`
	LastRead time.Time         `json:"-"`
	LastTook time.Duration     `json:"-"`
	Reads    map[string]uint64 `json:"-"` // by result: ok, error, rejected
}
