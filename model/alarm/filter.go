package alarm

import "time"

// Delays are how long a condition must hold before it is an alarm, and how long it
// must be gone before the alarm is over. Two alarms of one kind about one subject are
// therefore at least On and Off together apart.
type Delays struct{ On, Off time.Duration }

// Filter follows a condition through its delays. The zero Filter has never seen it.
type Filter struct {
	On  bool // the condition stands, delays taken into account
	Raw bool // what was seen of it last

	waits bool
	since time.Duration // Raw differs from On since then, while it waits
}

// Begin is the filter of an alarm that was active, or was not, when its state was
// kept: an alarm that stood goes on, one that had not been raised waits again.
func Begin(active bool) Filter { return Filter{On: active, Raw: active} }

// Next takes in whether the condition holds now. Now never falls.
func (f Filter) Next(holds bool, d Delays, now time.Duration) Filter {
	f.Raw = holds
	if holds == f.On {
		f.waits = false
		return f
	}
	if !f.waits {
		f.waits, f.since = true, now
	}
	delay := d.On
	if f.On {
		delay = d.Off
	}
	if now-f.since >= delay {
		f.On, f.waits = holds, false
	}
	return f
}

// Hold takes in that nothing can be said of the condition now. It stays as it was,
// and what was waiting waits again.
func (f Filter) Hold() Filter {
	f.Raw, f.waits = f.On, false
	return f
}

// Idle reports that the filter remembers nothing.
func (f Filter) Idle() bool { return !f.On && !f.waits }

// Limit is a limit of a value, with a dead-band: a value that has passed it counts as
// beyond until it is back by more than the dead-band.
type Limit struct {
	At       float64
	DeadBand float64
	Below    bool // the value is beyond below the limit rather than above it
}

// Beyond reports whether a value is beyond the limit; was is what the last one was. A
// value that is no number says nothing and leaves it at that.
func (l Limit) Beyond(value float64, was bool) bool {
	over, back := value >= l.At, value < l.At-l.DeadBand
	if l.Below {
		over, back = value <= l.At, value > l.At+l.DeadBand
	}
	return over || was && !back
}
