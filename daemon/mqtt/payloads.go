package mqtt

import (
	"encoding/json"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/view"
	"potlifed/model/health"
	"potlifed/model/light"
)

// The payloads that are published as JSON objects, beside those of package view. The tag doc
// describes each property in the published description of the interface.

// DaemonPayload is the payload of the topic daemon.
type DaemonPayload struct {
	Instance string    `json:"instance" doc:"Id of this run of the daemon, new at each start. Another instance on the same topic means that two daemons publish for one bench."`
	Version  string    `json:"version" doc:"Version of the program."`
	Journal  string    `json:"journal" doc:"Id of the journal. A new id means that the numbers of events start again."`
	Started  time.Time `json:"started" doc:"When this run of the daemon started."`
}

// ScalePayload is the payload of a topic scale/ID.
type ScalePayload struct {
	Time    time.Time    `json:"time,omitzero" doc:"When the scale sent this line. Absent before its first line."`
	WeightG *float64     `json:"weight_g,omitempty" doc:"What the scale shows, in grams. Absent where it shows no weight."`
	Stable  bool         `json:"stable" doc:"Whether the weight has settled."`
	Quality view.Quality `json:"quality" doc:"How far the value can be trusted."`
	Why     string       `json:"why,omitempty" doc:"The main reason why the quality is not good."`
}

// SensorPayload is the payload of a topic sensor/ID.
type SensorPayload struct {
	Time      time.Time        `json:"time" doc:"When this message was made."`
	Condition health.Condition `json:"condition" doc:"Condition of the sensor or scale; up where it works."`
	Since     time.Time        `json:"since" doc:"When this condition began."`
	Text      string           `json:"text,omitempty" doc:"What is wrong, and what to do."`
	Detail    string           `json:"detail,omitempty" doc:"The error that the driver or the system reported."`
	// The air that a sensor has read is sent at the pace of the topic air/ZONE.
	TemperatureC *float64  `json:"temperature_c,omitempty" doc:"Air temperature in °C of the sensor's own newest good reading. Absent before the first, and for a scale."`
	HumidityPct  *float64  `json:"humidity_pct,omitempty" doc:"Relative humidity in % of the sensor's own newest good reading, corrected if it is. Absent before the first, and for a scale."`
	ReadAt       time.Time `json:"read_at,omitzero" doc:"When that reading was taken. Absent before the first, and for a scale."`
	Findings     []string  `json:"findings,omitempty" doc:"What is wrong with its figures although it answers: stuck, drifts, noisy, fails (too many of its readings fail), jumps, disagrees, check-failed, other-device (another device is at its address than before, and nobody has said whether it was replaced)."`
}

// AlarmPayload is the payload of a topic alarm/NAME/SUBJECT.
type AlarmPayload struct {
	Time     time.Time  `json:"time" doc:"When the alarm last changed."`
	Seq      uint64     `json:"seq" doc:"Number of the last event of the alarm."`
	State    string     `json:"state" doc:"State of the alarm in its life cycle."`
	Priority string     `json:"priority" doc:"How soon somebody must act."`
	Since    time.Time  `json:"since" doc:"When the alarm was raised."`
	Title    string     `json:"title" doc:"The alarm in a few words."`
	Text     string     `json:"text" doc:"What is wrong, with figures of the moment at which the alarm was raised."`
	Detail   string     `json:"detail,omitempty" doc:"What is wrong as a driver or the system reported it."`
	Response string     `json:"response,omitempty" doc:"What to do."`
	By       actor.Name `json:"by,omitempty" doc:"Who acknowledged or shelved the alarm."`
	Until    *time.Time `json:"until,omitempty" doc:"Until when the alarm is shelved."`
}

// LightPayload is the payload of a topic light/ID.
type LightPayload struct {
	Time       time.Time     `json:"time" doc:"When the light was decided."`
	ValidUntil time.Time     `json:"valid_until" doc:"After this time the light must be shown as unknown, unless a newer message has come."`
	Seq        uint64        `json:"seq" doc:"Number of the last event that is taken into account."`
	Meaning    light.Meaning `json:"meaning" doc:"What the light means."`
	Colour     string        `json:"colour" doc:"Colour of the meaning."`
	Flashing   bool          `json:"flashing" doc:"Whether the light flashes."`
	Cause      light.Cause   `json:"cause" doc:"Why the light has this meaning, as a fixed word."`
	Reason     string        `json:"reason" doc:"Why the light has this meaning, in a sentence."`
	Press      string        `json:"press,omitempty" doc:"The press that decides the light."`
	Batch      string        `json:"batch,omitempty" doc:"The batch on that press."`
}

// Answer is the payload of a topic done/VERB: the outcome of a command.
type Answer struct {
	verb string

	Time    time.Time       `json:"time" doc:"When the command was answered."`
	Ref     string          `json:"ref" doc:"The ref of the command; empty where it had none."`
	Outcome string          `json:"outcome" enum:"done,refused,ignored" doc:"done: the command was carried out. refused: it was not, for the reason in detail. ignored: it was not considered."`
	Code    string          `json:"code,omitempty" doc:"Which refusal it is."`
	Status  int             `json:"status,omitempty" doc:"The status with which HTTP would answer. Absent for an ignored command."`
	Detail  string          `json:"detail,omitempty" doc:"Why the command was not carried out, and what to do."`
	OnDisk  *bool           `json:"on_disk,omitempty" doc:"false where the change is made but is not on disk yet."`
	Result  json.RawMessage `json:"result,omitempty" doc:"The thing that was changed."`
}

// encode returns the answer as JSON. A result that is not JSON is left out.
func (a Answer) encode() ([]byte, error) {
	b, err := json.Marshal(a)
	if err != nil && a.Result != nil {
		a.Result = nil
		return json.Marshal(a)
	}
	return b, err
}
