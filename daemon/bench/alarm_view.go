package bench

import (
	"strings"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/alarm"
)

// alarmView returns the row of an alarm. The text of one whose figures change says what it was when it was
// raised; the row adds what is true of its batch now.
func (b *Bench) alarmView(s record.State, a *record.Alarm, now time.Time) view.Alarm {
	w, batch := b.shop.locale, s.Batches[a.Subject]
	about := w.Alarm(a.Name)
	kind, _ := alarm.Find(a.Name)
	v := view.Alarm{
		Time: now, Seq: a.Seq, Name: a.Name, Subject: a.Subject, About: string(kind.Subject), State: string(a.State), Priority: string(a.Priority),
		Since: a.Since, Title: about.Title, Text: a.Text, Detail: a.Detail, Response: about.Response, Help: words.HelpPath(a.Name), By: a.By, Until: some(a.Until),
	}
	if batch == nil {
		return v
	}
	ofAge := a.Name == alarm.BatchEnding || a.Name == alarm.BatchRisk || a.Name == alarm.BatchDead
	switch {
	case ofAge && batch.Press == "": // there is no cup to take off
		v.Response = w.Say("alarm-text.loose." + a.Name)
	case a.Name == alarm.BatchEnding:
		if ready, _ := b.mixesFor(s, batch.Press, now); ready != "" { // nobody is asked for a mix that there is
			v.Response = w.Say("alarm-text.response-ready", "mix", ready, "press", batch.Press)
		}
	case a.Name == alarm.LifeCut && !a.State.Silenced() && batch.Ensemble != nil:
		end := w.Clock(b.lifeOf(s, batch, now).Expected, now)
		switch {
		case !a.State.Active():
			v.Text = w.Say("alarm-text.life-cut-over", "batch", a.Subject, "at", w.Clock(a.Since, now), "end", end)
		case !strings.Contains(a.Text, end): // nothing is said twice
			v.Text = w.Say("alarm-text.life-cut-now", "text", a.Text, "end", end)
		}
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
