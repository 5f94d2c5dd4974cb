package bench

import (
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/alarm"
)

func (c *catalogue) alarmView(a *record.Alarm, now time.Time) view.Alarm {
	about := c.locale.Alarm(a.Name)
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
