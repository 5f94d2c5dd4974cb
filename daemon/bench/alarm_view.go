package bench

import (
	"strings"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/alarm"
)

func (c *catalogue) alarmView(s record.State, a *record.Alarm, now time.Time) view.Alarm {
	about := c.locale.Alarm(a.Name)
	if batch := s.Batches[a.Subject]; a.Name == alarm.BatchEnding && batch != nil && batch.Press != "" {
		if ready, _ := c.mixesFor(s, batch.Press); ready != "" { // nobody is asked for a mix that there is
			about.Response = c.locale.Say("alarm-text.response-ready", "mix", ready, "press", batch.Press)
		}
	}
	return view.Alarm{
		Time: now, Seq: a.Seq, Name: a.Name, Subject: a.Subject, State: string(a.State), Priority: string(a.Priority),
		Since: a.Since, Title: about.Title, Text: a.Text, Detail: a.Detail, Response: about.Response, Help: words.HelpPath(a.Name), By: a.By, Until: some(a.Until),
	}
}

// alarmView adds to an alarm of [catalogue.alarmView] what is true of its batch now: the text of one whose
// figures change says what it was when it was raised.
func (b *Bench) alarmView(s record.State, a *record.Alarm, now time.Time) view.Alarm {
	v := b.shop.alarmView(s, a, now)
	batch := s.Batches[a.Subject]
	if a.Name != alarm.LifeCut || a.State.Silenced() || batch == nil || batch.Ensemble == nil {
		return v
	}
	w := b.shop.locale
	end := w.Clock(b.lifeOf(s, batch, now).Expected, now)
	switch {
	case !a.State.Active():
		v.Text = w.Say("alarm-text.life-cut-over", "batch", a.Subject, "at", w.Clock(a.Since, now), "end", end)
	case !strings.Contains(a.Text, end): // nothing is said twice
		v.Text = w.Say("alarm-text.life-cut-now", "text", a.Text, "end", end)
	}
	return v
}

// outOfService is until when a device is under maintenance, nil when it is not.
func outOfService(s record.State, alarmName, device string) *time.Time {
	row := s.Alarms[record.AlarmKey{Name: alarmName, Subject: device}]
	if stateOf(row) != alarm.OutOfService {
		return nil
	}
	return some(row.Until)
}
