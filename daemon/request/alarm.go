package request

import "time"

// AcknowledgeAlarm records that a person has seen an alarm.
type AcknowledgeAlarm struct {
	Alarm   string `json:"alarm,omitempty" hidden:"true" doc:"name of the alarm"`
	Subject string `json:"subject,omitempty" hidden:"true" doc:"id of the thing that the alarm is about"`
}

// ShelveAlarm silences an alarm for a time.
type ShelveAlarm struct {
	Alarm   string    `json:"alarm,omitempty" hidden:"true" doc:"name of the alarm"`
	Subject string    `json:"subject,omitempty" hidden:"true" doc:"id of the thing that the alarm is about"`
	Until   time.Time `json:"until" doc:"end of the shelving, at most 12 hours from now"`
	Reason  string    `json:"reason,omitempty" maxLength:"200" doc:"why the alarm is shelved"`
}

// UnshelveAlarm ends the shelving of an alarm before its time.
type UnshelveAlarm struct {
	Alarm   string `json:"alarm,omitempty" hidden:"true" doc:"name of the alarm"`
	Subject string `json:"subject,omitempty" hidden:"true" doc:"id of the thing that the alarm is about"`
}

func (AcknowledgeAlarm) Verb() string { return "acknowledge" }

func (ShelveAlarm) Verb() string { return "shelve" }

func (UnshelveAlarm) Verb() string { return "unshelve" }
