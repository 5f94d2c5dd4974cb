package history

import (
	"errors"
	"fmt"
	"time"
)

// Step is how long the intervals of an answer are: a duration of whole quarter-hours, or a day,
// week or month of the shop's calendar, whose length changes with summer time.
type Step struct {
	every    time.Duration
	calendar string
	zone     *time.Location
}

// Quarter is the finest step of what is stored for good.
const Quarter = 15 * time.Minute

// ErrStep means that a text is not a step.
var ErrStep = errors.New("step is a duration of at least 15m in whole quarter-hours, such as 1h, or day, week or month")

// StepOf reads a step. Empty text is a quarter-hour. zone is the shop's time zone.
func StepOf(text string, zone *time.Location) (Step, error) {
	switch text {
	case "":
		return Step{every: Quarter, zone: zone}, nil
	case "day", "week", "month":
		return Step{calendar: text, zone: zone}, nil
	}
	every, err := time.ParseDuration(text)
	if err != nil || every < Quarter || every%Quarter != 0 || every > 366*24*time.Hour {
		return Step{}, ErrStep
	}
	return Step{every: every, zone: zone}, nil
}

// Begin returns the begin of the interval that contains an instant: of the day, of the week
// (Monday) or month, else of the quarter-hour.
func (s Step) Begin(at time.Time) time.Time {
	if s.calendar == "" {
		return time.UnixMilli(floor(at.UnixMilli(), quarters.each) * quarters.each).UTC()
	}
	y, m, d := at.In(s.zone).Date()
	switch s.calendar {
	case "week":
		d -= (int(at.In(s.zone).Weekday()) + 6) % 7
	case "month":
		d = 1
	}
	return dayBegins(y, m, d, s.zone)
}

// Next returns the begin of the interval after the one that begins at an instant.
func (s Step) Next(begin time.Time) time.Time {
	if s.calendar == "" {
		return begin.Add(s.every)
	}
	y, m, d := begin.In(s.zone).Date()
	switch s.calendar {
	case "day":
		d++
	case "week":
		d += 7
	case "month":
		m, d = m+1, 1
	}
	return dayBegins(y, m, d, s.zone)
}

// dayBegins returns the first instant of a day. Where summer time begins at midnight, the day
// has no midnight; time.Date then returns an instant of the day before.
func dayBegins(y int, m time.Month, d int, zone *time.Location) time.Time {
	at := time.Date(y, m, d, 0, 0, 0, 0, zone)
	wanted := time.Date(y, m, d, 12, 0, 0, 0, zone).Day()
	for at.Day() != wanted {
		at = at.Add(Quarter)
	}
	return at.UTC()
}

// String returns the step as StepOf reads it.
func (s Step) String() string {
	if s.calendar != "" {
		return s.calendar
	}
	return s.every.String()
}

// Intervals returns how many intervals a span has, at most limit + 1.
func (s Step) Intervals(from, to time.Time, limit int) int {
	if s.calendar == "" {
		return int(min(to.Sub(s.Begin(from))/s.every+1, time.Duration(limit+1)))
	}
	n := 0
	for at := s.Begin(from); at.Before(to) && n <= limit; at = s.Next(at) {
		n++
	}
	return n
}

// ErrTooMany means that an answer would have more rows than are sent at once.
var ErrTooMany = errors.New("too many rows")

// tooMany makes such an error.
func tooMany(limit int) error {
	return fmt.Errorf("%w: more than %d; ask for a shorter span or a longer step", ErrTooMany, limit)
}

// folder cuts rows in the order of time into intervals.
type folder struct {
	step     Step
	from, to time.Time // of the interval
}

func newFolder(s Step, from time.Time) *folder {
	begin := s.Begin(from)
	return &folder{s, begin, s.Next(begin)}
}

// reach moves to the interval that contains an instant and reports whether it is another one
// than before.
func (f *folder) reach(at time.Time) bool {
	moved := false
	for !at.Before(f.to) {
		f.from, f.to = f.to, f.step.Next(f.to)
		moved = true
	}
	return moved
}
