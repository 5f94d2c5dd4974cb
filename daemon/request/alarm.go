package request

import "time"

// AcknowledgeAlarm says that somebody has seen an alarm.
type AcknowledgeAlarm struct {
	Alarm   string `json:"alarm,omitempty" hidden:"true"`
	Subject string `json:"subject,omitempty" hidden:"true"`
}

// ShelveAlarm puts an alarm aside for a time.
type ShelveAlarm struct {
	Alarm   string    `json:"alarm,omitempty" hidden:"true"`
	Subject string    `json:"subject,omitempty" hidden:"true"`
	Until   time.Time `json:"until" doc:"at most 12 hours ahead"`
	Reason  string    `json:"reason,omitempty" maxLength:"200"`
}

// UnshelveAlarm takes an alarm off the shelf before its time.
type UnshelveAlarm struct {
	Alarm   string `json:"alarm,omitempty" hidden:"true"`
	Subject string `json:"subject,omitempty" hidden:"true"`
}

func (AcknowledgeAlarm) Verb() string { return "acknowledge" }

func (ShelveAlarm) Verb() string { return "shelve" }

func (UnshelveAlarm) Verb() string { return "unshelve" }
