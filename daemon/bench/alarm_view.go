package bench

import (
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/alarm"
)

func (c *catalogue) alarmView(s record.State, a *record.Alarm, now time.Time) view.Alarm {
	about := c.locale.Alarm(a.Name)
	if batch := s.Batches[a.Subject]; a.Name == alarm.BatchEnding && batch != nil && batch.Press != "" {
		if ready, _ := mixesFor(s, batch.Press); ready != "" { // nobody is asked for a mix that there is
			about.Response = c.locale.Say("alarm-text.response-ready", "mix", ready, "press", batch.Press)
		}
	}
	return view.Alarm{
		Time: now, Seq: a.Seq, Name: a.Name, Subject: a.Subject, State: string(a.State), Priority: string(a.Priority),
		Since: a.Since, Title: about.Title, Text: a.Text, Detail: a.Detail, Response: about.Response, Help: words.HelpPath(a.Name), By: a.By, Until: some(a.Until),
	}
}

// outOfService is until when a device is under maintenance, nil when it is not.
func outOfService(s record.State, alarmName, device string) *time.Time {
	row := s.Alarms[record.AlarmKey{Name: alarmName, Subject: device}]
	if stateOf(row) != alarm.OutOfService {
		return nil
	}
	return some(row.Until)
}
