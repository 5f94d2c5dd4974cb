package bench

import (
	"slices"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
)

// answerAlarm is an alarm as it is answered after a change, which may have ended it.
func (b *Bench) answerAlarm(s record.State, before record.Alarm, now time.Time) view.Alarm {
	if row, ok := s.Alarms[record.AlarmKey{Name: before.Name, Subject: before.Subject}]; ok {
		return b.alarmView(b.state, row, now)
	}
	before.State, before.Seq, before.By, before.Until = alarm.Normal, s.Seq, "", time.Time{}
	return b.alarmView(b.state, &before, now)
}

func alarmNamed(s record.State, name, subject string) (*record.Alarm, error) {
	row, ok := s.Alarms[record.AlarmKey{Name: name, Subject: subject}]
	if !ok {
		return nil, request.Refuse(request.NotFound, "no such alarm", "no alarm %s/%s is standing", name, subject).Saying("alarm-over")
	}
	return row, nil
}

func (b *Bench) acknowledge(now time.Time, by actor.Name, c request.AcknowledgeAlarm) (any, error) {
	row, err := alarmNamed(b.state, c.Alarm, c.Subject)
	if err != nil {
		return nil, err
	}
	if row.State.Awaits() {
		b.decide(now, by, record.AlarmAcknowledged{Name: c.Alarm, Subject: c.Subject})
	}
	return b.answerAlarm(b.state, *row, now), nil
}

// shelve puts an alarm aside, also one that is normal at the moment: one that comes
// and goes is put aside best while it is gone.
func (b *Bench) shelve(now time.Time, by actor.Name, c request.ShelveAlarm) (any, error) {
	d, known := alarm.Find(c.Alarm)
	if !known || !b.shop.has(b.state, d.Subject, c.Subject) {
		return nil, request.Refuse(request.NotFound, "no such alarm", "there is no alarm %s/%s", c.Alarm, c.Subject)
	}
	until, err := ahead(now, c.Until, alarm.MostShelved)
	if err != nil {
		return nil, err
	}
	row := b.state.Alarms[record.AlarmKey{Name: c.Alarm, Subject: c.Subject}]
	if is := stateOf(row); is == alarm.Suppressed || is == alarm.OutOfService {
		return nil, request.Refuse(request.NotNow, "silent already", "alarm %s/%s is %s; it says nothing that could be put aside", c.Alarm, c.Subject, is).Saying("alarm-silent")
	}
	b.decide(now, by, record.AlarmShelved{
		Name: c.Alarm, Subject: c.Subject, Priority: d.Priority, Until: until, Reason: strings.TrimSpace(c.Reason),
	})
	return b.answerAlarm(b.state, record.Alarm{Name: c.Alarm, Subject: c.Subject}, now), nil
}

func (b *Bench) unshelve(now time.Time, by actor.Name, c request.UnshelveAlarm) (any, error) {
	row, err := alarmNamed(b.state, c.Alarm, c.Subject)
	if err != nil {
		return nil, err
	}
	if row.State != alarm.Shelved {
		return nil, request.Refuse(request.NotNow, "not shelved", "alarm %s/%s is %s, not shelved", c.Alarm, c.Subject, row.State).Saying("alarm-not-snoozed")
	}
	b.decide(now, by, record.AlarmUnshelved{Name: c.Alarm, Subject: c.Subject})
	return b.answerAlarm(b.state, *row, now), nil
}

// ahead checks the end of a time for which something is silenced.
func ahead(now, until time.Time, most time.Duration) (time.Time, error) {
	until = until.UTC()
	if until.After(now) && until.Sub(now) <= most {
		return until, nil
	}
	return until, request.Refuse(request.Invalid, "until", "until %s: want a time after now, %s, and within %s",
		until.Format(time.RFC3339), now.Format(time.RFC3339), hours(most)).Saying("until-range", "most", most)
}

func hours(d time.Duration) string { return strings.TrimSuffix(d.String(), "0m0s") }

func (b *Bench) takeOutOfService(now time.Time, by actor.Name, c request.TakeOutOfService) (any, error) {
	about, err := b.shop.deviceAlarms(c.Sensor)
	if err != nil {
		return nil, err
	}
	until, err := ahead(now, c.Until, alarm.MostOutOfService)
	if err != nil {
		return nil, err
	}
	reason := strings.TrimSpace(c.Reason)
	if reason == "" {
		return nil, request.Refuse(request.Invalid, "reason", "a reason is wanted: the alarms of %s will be silent", c.Sensor).Saying("reason-wanted", "device", c.Sensor)
	}
	b.decide(now, by, record.OutOfService{Device: c.Sensor, Alarms: about, Until: until, Reason: reason})
	return b.deviceView(now, c.Sensor), nil
}

func (b *Bench) putInService(now time.Time, by actor.Name, c request.PutInService) (any, error) {
	about, err := b.shop.deviceAlarms(c.Sensor)
	if err != nil {
		return nil, err
	}
	var silent []string
	for name := range about {
		if stateOf(b.state.Alarms[record.AlarmKey{Name: name, Subject: c.Sensor}]) == alarm.OutOfService {
			silent = append(silent, name)
		}
	}
	if len(silent) == 0 {
		return nil, request.Refuse(request.NotNow, "in service", "%s is in service", c.Sensor).Saying("in-service", "device", c.Sensor)
	}
	slices.Sort(silent)
	b.decide(now, by, record.InService{Device: c.Sensor, Alarms: silent})
	return b.deviceView(now, c.Sensor), nil
}
