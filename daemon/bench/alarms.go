package bench

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/model/alarm"
)

// watched is what is remembered of an alarm between two ticks. It builds itself up
// again after a start; the states are in the journal.
type watched struct {
	alarm.Filter
	trouble // the cause, when it was seen last
}

// askAlarms looks at every cause there is and takes each alarm where that leads it.
func (b *Bench) askAlarms(now time.Time) {
	at := b.observe(now)
	keys := map[record.AlarmKey]bool{}
	for key := range at.found {
		keys[key] = true
	}
	for key := range b.watched {
		keys[key] = true
	}
	for key := range b.state.Alarms {
		keys[key] = true
	}
	for _, key := range slices.SortedFunc(maps.Keys(keys), compareKeys) {
		b.askAlarm(now, key, at.found[key])
	}
}

func compareKeys(a, b record.AlarmKey) int {
	return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Subject, b.Subject))
}

func (b *Bench) askAlarm(now time.Time, key record.AlarmKey, s observed) {
	d, known := alarm.Find(key.Name)
	row := b.state.Alarms[key]
	if !known || !b.shop.has(b.state, d.Subject, key.Subject) {
		if row != nil {
			b.decide(now, actor.Bench, record.AlarmCleared(key))
		}
		delete(b.watched, key)
		return
	}
	was := stateOf(row)
	w, remembered := b.watched[key]
	if !remembered {
		w = watched{Filter: alarm.Begin(was.Active())}
		if row != nil {
			w.trouble = trouble{row.Text, row.Detail}
		}
	}
	switch s.is {
	case notKnown:
		w.Filter = w.Filter.Hold()
	case cannotBeSeen:
		w = watched{}
	default:
		w.Filter = w.Filter.Next(s.is == holds, d.Delays, b.clock.mono())
	}
	if s.is == holds {
		w.trouble = s.trouble
	}
	is := alarm.Situation{Active: w.On, Suppressed: s.is == cannotBeSeen}
	if row != nil {
		is.Shelved = row.State == alarm.Shelved && now.Before(row.Until)
		is.OutOfService = row.State == alarm.OutOfService && now.Before(row.Until)
	}
	why := w.trouble
	if s.is == cannotBeSeen {
		why = s.trouble
	}
	next := alarm.Next(was, is)
	if next == alarm.Unacknowledged && !was.Active() && !w.Raw {
		// It was silenced until now, and is not raised for a cause that is going already.
		w, is.Active = watched{}, false
		next = alarm.Next(was, is)
	}
	if told := was == alarm.Unacknowledged || was == alarm.Acknowledged; told && next == was && s.more {
		b.decide(now, actor.Bench, record.AlarmRaised{Name: key.Name, Subject: key.Subject, Priority: d.Priority, Text: why.text, Detail: why.detail})
	}
	b.takeAlarm(now, key, d, was, next, why)
	if b.watched[key] = w; w.Idle() {
		delete(b.watched, key)
	}
}

// takeAlarm records how an alarm gets from one state to another.
func (b *Bench) takeAlarm(now time.Time, key record.AlarmKey, d alarm.Definition, was, is alarm.State, why trouble) {
	if was == is {
		return
	}
	name, subject := key.Name, key.Subject
	switch was {
	case alarm.Shelved:
		b.decide(now, actor.Bench, record.AlarmUnshelved{Name: name, Subject: subject})
	case alarm.Suppressed:
		b.decide(now, actor.Bench, record.AlarmUnsuppressed{Name: name, Subject: subject})
	case alarm.OutOfService:
		b.decide(now, actor.Bench, record.InService{Device: subject, Alarms: []string{name}})
	}
	switch is {
	case alarm.Unacknowledged:
		b.decide(now, actor.Bench, record.AlarmRaised{Name: name, Subject: subject, Priority: d.Priority, Text: why.text, Detail: why.detail})
	case alarm.Suppressed:
		b.decide(now, actor.Bench, record.AlarmSuppressed{Name: name, Subject: subject, Priority: d.Priority, Text: why.text})
	case alarm.Returned, alarm.Normal:
		if !was.Silenced() {
			b.decide(now, actor.Bench, record.AlarmReturned{Name: name, Subject: subject})
		}
	}
}
