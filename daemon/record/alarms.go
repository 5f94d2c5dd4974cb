package record

import (
	"maps"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/alarm"
)

// The kinds of what happens to alarms.
const (
	KindAlarmRaised       Kind = "alarm-raised"
	KindAlarmReturned     Kind = "alarm-returned"
	KindAlarmCleared      Kind = "alarm-cleared"
	KindAlarmAcknowledged Kind = "alarm-acknowledged"
	KindAlarmShelved      Kind = "alarm-shelved"
	KindAlarmUnshelved    Kind = "alarm-unshelved"
	KindAlarmSuppressed   Kind = "alarm-suppressed"
	KindAlarmUnsuppressed Kind = "alarm-unsuppressed"
	KindOutOfService      Kind = "out-of-service"
	KindInService         Kind = "in-service"
)

// Alarm is an alarm that is not normal.
type Alarm struct {
	Name     string         `json:"name"`
	Subject  string         `json:"subject"`
	Priority alarm.Priority `json:"priority"`
	State    alarm.State    `json:"state"`
	Text     string         `json:"text"`
	Detail   string         `json:"detail,omitempty"` // as a driver or the system reported it
	Since    time.Time      `json:"since"`            // when it was raised, shelved, suppressed or taken out of service
	Changed  time.Time      `json:"changed"`          // when it entered its state
	Until    time.Time      `json:"until,omitzero"`   // end of shelving or of maintenance
	By       actor.Name     `json:"by,omitempty"`     // who changed it to its state
	Seq      uint64         `json:"seq"`              // number of the event that last changed it
}

// AlarmRaised raises an alarm, for the first time or again.
type AlarmRaised struct {
	Name     string         `json:"alarm" doc:"name of the alarm"`
	Subject  string         `json:"subject" doc:"id of the thing that the alarm is about"`
	Priority alarm.Priority `json:"priority" doc:"high, medium or low"`
	Text     string         `json:"text" doc:"what is wrong, with the figures of the moment"`
	Detail   string         `json:"detail,omitempty" doc:"the same as a driver or the system reported it, for those who maintain the bench"`
}

// AlarmReturned records that an alarm's cause is gone. The alarm ends if it was
// acknowledged; otherwise it waits to be acknowledged.
type AlarmReturned struct {
	Name    string `json:"alarm" doc:"name of the alarm"`
	Subject string `json:"subject" doc:"id of the thing that the alarm is about"`
}

// AlarmCleared ends an alarm in any state, because its subject no longer exists.
type AlarmCleared struct {
	Name    string `json:"alarm" doc:"name of the alarm"`
	Subject string `json:"subject" doc:"id of the thing that the alarm is about"`
}

// AlarmAcknowledged records that a person has seen an alarm.
type AlarmAcknowledged struct {
	Name    string `json:"alarm" doc:"name of the alarm"`
	Subject string `json:"subject" doc:"id of the thing that the alarm is about"`
}

// AlarmShelved silences an alarm until a time, at a person's request.
type AlarmShelved struct {
	Name     string         `json:"alarm" doc:"name of the alarm"`
	Subject  string         `json:"subject" doc:"id of the thing that the alarm is about"`
	Priority alarm.Priority `json:"priority" doc:"high, medium or low"`
	Until    time.Time      `json:"until" doc:"end of the shelving"`
	Reason   string         `json:"reason,omitempty" doc:"why the alarm is shelved"`
}

// AlarmUnshelved ends the shelving of an alarm, by a person or because its time is over.
type AlarmUnshelved struct {
	Name    string `json:"alarm" doc:"name of the alarm"`
	Subject string `json:"subject" doc:"id of the thing that the alarm is about"`
}

// AlarmSuppressed silences an alarm by design, while its cause cannot be observed.
type AlarmSuppressed struct {
	Name     string         `json:"alarm" doc:"name of the alarm"`
	Subject  string         `json:"subject" doc:"id of the thing that the alarm is about"`
	Priority alarm.Priority `json:"priority" doc:"high, medium or low"`
	Text     string         `json:"text" doc:"why the alarm is suppressed"`
}

// AlarmUnsuppressed ends the suppression of an alarm.
type AlarmUnsuppressed struct {
	Name    string `json:"alarm" doc:"name of the alarm"`
	Subject string `json:"subject" doc:"id of the thing that the alarm is about"`
}

// OutOfService begins the maintenance of a device: its alarms are silent until a time.
type OutOfService struct {
	Device string                    `json:"subject" doc:"id of the sensor or scale"`
	Alarms map[string]alarm.Priority `json:"alarms" doc:"the alarms that are silent, with their priorities"`
	Until  time.Time                 `json:"until" doc:"end of the maintenance"`
	Reason string                    `json:"reason" doc:"why the device is out of service"`
}

// InService ends the maintenance of a device, by a person or because its time is over.
type InService struct {
	Device string   `json:"subject" doc:"id of the sensor or scale"`
	Alarms []string `json:"alarms" doc:"names of the alarms that are no longer silent"`
}

func (AlarmRaised) Kind() Kind       { return KindAlarmRaised }
func (AlarmReturned) Kind() Kind     { return KindAlarmReturned }
func (AlarmCleared) Kind() Kind      { return KindAlarmCleared }
func (AlarmAcknowledged) Kind() Kind { return KindAlarmAcknowledged }
func (AlarmShelved) Kind() Kind      { return KindAlarmShelved }
func (AlarmUnshelved) Kind() Kind    { return KindAlarmUnshelved }
func (AlarmSuppressed) Kind() Kind   { return KindAlarmSuppressed }
func (AlarmUnsuppressed) Kind() Kind { return KindAlarmUnsuppressed }
func (OutOfService) Kind() Kind      { return KindOutOfService }
func (InService) Kind() Kind         { return KindInService }

func (AlarmRaised) About() string       { return "" }
func (AlarmReturned) About() string     { return "" }
func (AlarmCleared) About() string      { return "" }
func (AlarmAcknowledged) About() string { return "" }
func (AlarmShelved) About() string      { return "" }
func (AlarmUnshelved) About() string    { return "" }
func (AlarmSuppressed) About() string   { return "" }
func (AlarmUnsuppressed) About() string { return "" }
func (OutOfService) About() string      { return "" }
func (InService) About() string         { return "" }

func (e AlarmRaised) apply(s *State, r Record) {
	s.setAlarm(r, e.Name, e.Subject, func(a *Alarm) {
		*a = Alarm{Priority: e.Priority, State: alarm.Unacknowledged, Text: e.Text, Detail: e.Detail, Since: r.Stamp.At}
	})
}

func (e AlarmReturned) apply(s *State, r Record) {
	s.changeAlarm(r, e.Name, e.Subject, func(a *Alarm) { a.State = alarm.Next(a.State, alarm.Situation{}) })
}

func (e AlarmCleared) apply(s *State, r Record) {
	s.changeAlarm(r, e.Name, e.Subject, func(a *Alarm) { a.State = alarm.Normal })
}

func (e AlarmAcknowledged) apply(s *State, r Record) {
	s.lossSeen(e.Name)
	s.changeAlarm(r, e.Name, e.Subject, func(a *Alarm) { a.State, a.By = alarm.Acknowledge(a.State), r.By })
}

func (e AlarmShelved) apply(s *State, r Record) {
	s.setAlarm(r, e.Name, e.Subject, func(a *Alarm) {
		text := a.Text
		if e.Reason != "" {
			text = e.Reason
		}
		*a = Alarm{Priority: e.Priority, State: alarm.Shelved, Text: text, Since: r.Stamp.At, Until: e.Until, By: r.By}
	})
}

func (e AlarmUnshelved) apply(s *State, r Record) { s.unsilence(r, e.Name, e.Subject, alarm.Shelved) }

func (e AlarmSuppressed) apply(s *State, r Record) {
	s.setAlarm(r, e.Name, e.Subject, func(a *Alarm) {
		*a = Alarm{Priority: e.Priority, State: alarm.Suppressed, Text: e.Text, Since: r.Stamp.At, By: r.By}
	})
}

func (e AlarmUnsuppressed) apply(s *State, r Record) {
	s.unsilence(r, e.Name, e.Subject, alarm.Suppressed)
}

func (e OutOfService) apply(s *State, r Record) {
	for name, priority := range e.Alarms {
		s.setAlarm(r, name, e.Device, func(a *Alarm) {
			*a = Alarm{Priority: priority, State: alarm.OutOfService, Text: e.Reason, Since: r.Stamp.At, Until: e.Until, By: r.By}
		})
	}
}

func (e InService) apply(s *State, r Record) {
	for _, name := range e.Alarms {
		s.unsilence(r, name, e.Device, alarm.OutOfService)
	}
}

// unsilence makes an alarm normal that is in the given silent state.
func (s *State) unsilence(r Record, name, subject string, from alarm.State) {
	s.changeAlarm(r, name, subject, func(a *Alarm) {
		if a.State == from {
			a.State = alarm.Normal
		}
	})
}

// changeAlarm alters an alarm if it is not normal.
func (s *State) changeAlarm(r Record, name, subject string, f func(a *Alarm)) {
	if _, there := s.Alarms[AlarmKey{name, subject}]; there {
		s.setAlarm(r, name, subject, f)
	}
}

// setAlarm replaces an alarm by a copy that f has altered, and drops it once it is
// normal.
func (s *State) setAlarm(r Record, name, subject string, f func(a *Alarm)) {
	key := AlarmKey{name, subject}
	var a Alarm
	if old, there := s.Alarms[key]; there {
		a = *old
	}
	f(&a)
	a.Name, a.Subject, a.Seq, a.Changed = name, subject, r.Seq, r.Stamp.At
	s.Alarms = maps.Clone(s.Alarms)
	if a.State == alarm.Normal {
		delete(s.Alarms, key)
		return
	}
	s.Alarms[key] = &a
}
