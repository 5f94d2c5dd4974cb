package view

import "time"

// Alarm is an alarm that is not normal.
type Alarm struct {
	Time     time.Time  `json:"time"`
	Seq      uint64     `json:"seq"`
	Name     string     `json:"name"`
	Subject  string     `json:"subject"`
	State    string     `json:"state" enum:"normal,unacknowledged,acknowledged,returned,shelved,suppressed,out-of-service"`
	Priority string     `json:"priority" enum:"high,medium,low"`
	Since    time.Time  `json:"since"`
	Text     string     `json:"text"`
	Response string     `json:"response,omitempty" doc:"what the operator is to do"`
	By       string     `json:"by,omitempty" doc:"who acknowledged it, put it aside or took the device out of service"`
	Until    *time.Time `json:"until,omitempty" doc:"when it comes off the shelf, or the device back into service"`
}
