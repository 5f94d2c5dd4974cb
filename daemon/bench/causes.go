package bench

import (
	"time"

	"potlifed/daemon/record"
	"potlifed/model/alarm"
)

// status is what can be said of a cause at one moment.
type status int

const (
	gone status = iota
	holds
	notKnown     // nothing can be said just now
	cannotBeSeen // what it looks at is lost
)

// observed is what was seen of a cause.
type observed struct {
	is status
	trouble
	more bool // it has got worse since people were told
}

// causes are the causes of alarms as they are at one moment. One that is not in found is gone.
type causes struct {
	b     *Bench
	now   time.Time
	found map[record.AlarmKey]observed
}

func (l *causes) holds(name, subject, text string) { l.holdsWith(name, subject, trouble{text: text}) }

// holdsWith is holds for a cause that something else reported, with what it reported.
func (l *causes) holdsWith(name, subject string, why trouble) {
	l.found[record.AlarmKey{Name: name, Subject: subject}] = observed{is: holds, trouble: why}
}

// holdsMore is holds for a cause that has got worse since people were told, as by as much again as raises its
// alarm: an alarm that stands is raised again with the new text.
func (l *causes) holdsMore(name, subject, text string) {
	l.found[record.AlarmKey{Name: name, Subject: subject}] = observed{is: holds, trouble: trouble{text: text}, more: true}
}

// failedCheck is holds for an instrument whose last check failed, at a time. An alarm that stands because the check
// was overdue says from then on that it failed.
func (l *causes) failedCheck(name, instrument, why string, at time.Time) {
	row := l.b.state.Alarms[record.AlarmKey{Name: name, Subject: instrument}]
	if row != nil && at.After(row.Since) && row.Text != why {
		l.holdsMore(name, instrument, why)
		return
	}
	l.holds(name, instrument, why)
}

func (l *causes) notKnown(name, subject string) {
	l.found[record.AlarmKey{Name: name, Subject: subject}] = observed{is: notKnown}
}

func (l *causes) cannotBeSeen(name, subject, why string) {
	l.found[record.AlarmKey{Name: name, Subject: subject}] = observed{is: cannotBeSeen, trouble: trouble{text: why}}
}

// beyond reports whether a value is beyond its limit, by the dead-band if it was.
func (l *causes) beyond(name, subject string, limit alarm.Limit, value float64) bool {
	key := record.AlarmKey{Name: name, Subject: subject}
	w, remembered := l.b.watched[key]
	was := w.Raw
	if !remembered {
		was = stateOf(l.b.state.Alarms[key]).Active()
	}
	return limit.Beyond(value, was)
}

// lost reports whether nothing can be known from a sensor: it gives nothing usable, or
// is under maintenance.
func (b *Bench) lost(s *sensor) bool {
	return b.stands(alarm.SensorStale, s.ID) || b.stands(alarm.Implausible, s.ID) || inMaintenance(b.state, s.ID)
}

func inMaintenance(s record.State, sensor string) bool {
	return stateOf(s.Alarms[record.AlarmKey{Name: alarm.SensorStale, Subject: sensor}]) == alarm.OutOfService
}

// blind says why a zone's air cannot be seen, empty when it can. A zone without any
// sensor never could.
func (b *Bench) blind(z *zone) string {
	for _, s := range z.sensors {
		if !b.lost(s) {
			return ""
		}
	}
	if len(z.sensors) == 0 {
		return ""
	}
	return b.shop.locale.Say("alarm-text.no-sensor", "zone", z.id)
}

func stateOf(row *record.Alarm) alarm.State {
	if row == nil {
		return alarm.Normal
	}
	return row.State
}

// stands reports whether an alarm's condition stands, delays taken into account and
// whether people are told of it or not.
func (b *Bench) stands(name, subject string) bool {
	key := record.AlarmKey{Name: name, Subject: subject}
	if w, ok := b.watched[key]; ok {
		return w.On
	}
	return stateOf(b.state.Alarms[key]).Active()
}

// printsUnloaded reports whether a press prints with nothing loaded: it has, not long ago.
func printsUnloaded(s record.State, press string, now time.Time) bool {
	printed := s.Prints[press].UnloadedAt
	return s.Presses[press].Batch == "" && !printed.IsZero() && now.Sub(printed) < alarm.PrintsWithin
}
