package view

import (
	"time"

	"potlifed/daemon/actor"
)

// Alarm is an alarm that is not normal.
type Alarm struct {
	Time     time.Time  `json:"time" doc:"time of the state"`
	Seq      uint64     `json:"seq" doc:"number of the event that last changed the alarm"`
	Name     string     `json:"name" doc:"name of the alarm, from the table of alarms"`
	Subject  string     `json:"subject" doc:"id of the thing that the alarm is about, or the bench's name"`
	About    string     `json:"about,omitempty" enum:"batch,press,zone,sensor,scale,light,bench" doc:"kind of thing that the alarm is about: batch, press, zone, sensor, scale, light or bench"`
	State    string     `json:"state" enum:"normal,unacknowledged,acknowledged,returned,shelved,suppressed,out-of-service" doc:"normal, unacknowledged, acknowledged, returned (the cause is gone, nobody has acknowledged it), shelved, suppressed or out-of-service"`
	Priority string     `json:"priority" enum:"high,medium,low" doc:"how soon somebody has to act: high, medium or low"`
	Since    time.Time  `json:"since" doc:"when it was raised, shelved or suppressed, or its device taken out of service"`
	Title    string     `json:"title" doc:"the alarm in a few words, such as: Life got shorter"`
	Text     string     `json:"text" doc:"what is wrong, with the figures of the moment when it was raised"`
	Detail   string     `json:"detail,omitempty" doc:"what is wrong as a driver or the system reported it; absent where nothing else reported it"`
	Response string     `json:"response,omitempty" doc:"what the operator should do"`
	Help     string     `json:"help" doc:"path of the page that explains the alarm"`
	By       actor.Name `json:"by,omitempty" doc:"who acknowledged or shelved it, or took the device out of service"`
	Until    *time.Time `json:"until,omitempty" doc:"end of the shelving or of the maintenance"`
}
