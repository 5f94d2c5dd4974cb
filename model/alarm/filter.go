package alarm

import "time"

// Delays are how long a condition must hold before an alarm is raised, and how long it must be
// gone before the alarm returns. Two alarms of one kind about one subject are therefore at least
// On and Off together apart.
type Delays struct{ On, Off time.Duration }

// Filter applies the delays to a condition. The zero Filter has not seen the condition yet.
type Filter struct {
	On  bool // the condition holds, with delays taken into account
	Raw bool // the condition as it was seen last

	waits bool
	since time.Duration // since when Raw differs from On, while it waits
}

// Begin returns the filter of an alarm whose state was kept over a restart. An alarm that was
// active stays active. One that was not raised yet waits again.
func Begin(active bool) Filter { return Filter{On: active, Raw: active} }

// Next returns the filter after the condition was seen. now never falls.
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

// Hold returns the filter after the condition could not be observed. The alarm stays as it was,
// and a delay that was running starts again.
func (f Filter) Hold() Filter {
	f.Raw, f.waits = f.On, false
	return f
}

// Idle reports whether the filter has nothing to remember.
func (f Filter) Idle() bool { return !f.On && !f.waits }

// Limit is a limit of a value with a dead-band: a value that is beyond the limit stays beyond
// until it is back inside by more than the dead-band.
type Limit struct {
	At       float64
	DeadBand float64
	Below    bool // the value is beyond when it is below the limit, not above it
}

// Beyond reports whether a value is beyond the limit. was is the result for the value before it.
// A value that is not a number leaves the result as it was.
func (l Limit) Beyond(value float64, was bool) bool {
	over, back := value >= l.At, value < l.At-l.DeadBand
	if l.Below {
		over, back = value <= l.At, value > l.At+l.DeadBand
	}
	return over || was && !back
}
