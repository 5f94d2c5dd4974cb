package view

import (
	"time"

	"potlifed/model/health"
)

// TrendInstrument is an instrument that follows the batch on a press, by a torque or the current of a motor. Experimental.
type TrendInstrument struct {
	ID        string           `json:"id" doc:"id of the instrument"`
	Press     string           `json:"press" doc:"id of the press whose batch it follows"`
	Batch     string           `json:"batch,omitempty" doc:"id of the batch that is on the press; absent while there is none"`
	Condition health.Condition `json:"condition" doc:"waiting (no value yet), up, stale (the newest value is too old) or down (no connection)"`
	Since     time.Time        `json:"since" doc:"when it entered this condition"`
	Value     *float64         `json:"value,omitempty" doc:"newest value in the instrument's own unit; absent before the first"`
	ReadAt    time.Time        `json:"read_at,omitzero" doc:"when the newest value came; absent before the first"`
	Text      string           `json:"text,omitempty" doc:"what is wrong with the connection and what to do; absent when nothing is"`
	Detail    string           `json:"detail,omitempty" doc:"the error that the driver or the system reported; absent where there is none"`
	Doubted   string           `json:"doubted,omitempty" doc:"why it can only shorten the pot life of the batch: it has stuck, does not rise or contradicts the batch's age; absent otherwise"`

	Reads map[string]uint64 `json:"-"` // by result: ok, error
}
