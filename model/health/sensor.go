package health

import (
	"math"
	"slices"
	"time"

	"potlifed/model/air"
)

// Watch follows the readings of one sensor within a day. The zero Watch has seen none.
type Watch struct {
	// StaleAfter is the age at which the newest reading is too old; 0 where none is.
	StaleAfter time.Duration

	gaps    gaps
	last    air.State
	at      time.Duration // CLOCK_BOOTTIME of the last reading
	seen    bool
	since   time.Duration // since when readings are the same to the last digit
	day     Day
	besideN int
}

// Day is what the readings of a sensor were like over a day.
type Day struct {
	Date     string        `json:"date" doc:"the day on the shop's calendar, YYYY-MM-DD"`
	N        int           `json:"n" doc:"number of readings"`
	Errors   int           `json:"errors,omitempty" doc:"number of readings that failed; those of a longer outage are not counted beyond its first ten minutes"`
	MeanPct  float64       `json:"mean_pct" doc:"mean relative humidity in %"`
	MeanC    float64       `json:"mean_c" doc:"mean temperature in °C"`
	Same     time.Duration `json:"same_ns" doc:"longest time for which readings were the same to the last digit"`
	Jumps    int           `json:"jumps,omitempty" doc:"number of times that a reading was more than 5 % RH or 2 K from the one before, within a minute"`
	Beside   string        `json:"beside,omitempty" doc:"id of the sensor that it was compared with; absent when there was none"`
	ApartPct float64       `json:"apart_pct,omitempty" doc:"mean difference to that sensor in % relative humidity, both at the temperature of this one"`
	Oldest   time.Duration `json:"oldest_ns,omitempty" doc:"the greatest age that the newest reading had"`
	Down     time.Duration `json:"down_ns,omitempty" doc:"time for which the newest reading was too old"`
	Parts    Parts         `json:"parts,omitzero" doc:"the same of each three hours of the day from midnight on, on the shop's clock; absent on days of an older version"`
}

// The largest change of a healthy sensor between two readings within a minute: far more than its
// noise, and than people or a door do to a sensor that hangs in the room (an assumption).
const (
	JumpPct = 5
	JumpK   = 2
)

// Add takes in a reading. at is a monotonic time, and hour the hour of the day on the shop's clock, 0 to 23. beside is
// what a neighbour reads at the moment, nil when there is none or it is not fresh, and by its id.
func (w *Watch) Add(a air.State, at time.Duration, hour int, by string, beside *air.State) {
	if !w.seen || a != w.last {
		w.since = at
	}
	if w.seen && at-w.at <= time.Minute && (math.Abs(a.HumidityPct-w.last.HumidityPct) > JumpPct || math.Abs(a.TemperatureC-w.last.TemperatureC) > JumpK) {
		w.day.Jumps++
	}
	w.gaps.end(at, w.StaleAfter, &w.day.Oldest, &w.day.Down)
	w.last, w.at, w.seen = a, at, true
	d := &w.day
	d.N++
	d.MeanPct += (a.HumidityPct - d.MeanPct) / float64(d.N)
	d.MeanC += (a.TemperatureC - d.MeanC) / float64(d.N)
	d.Same = max(d.Same, at-w.since)
	p := &d.Parts[min(max(hour/partHours, 0), len(d.Parts)-1)]
	p.N++
	p.MeanPct += (a.HumidityPct - p.MeanPct) / float64(p.N)
	if beside == nil {
		return
	}
	if by != d.Beside { // another neighbour: what the day began with is not comparable
		d.forgetNeighbour()
		d.Beside, w.besideN = by, 0
	}
	w.besideN++
	d.ApartPct += (apart(a, *beside) - d.ApartPct) / float64(w.besideN)
	p.BesideN++
	p.ApartPct += (apart(a, *beside) - p.ApartPct) / float64(p.BesideN)
}

// forgetNeighbour forgets what the readings of the day were compared with.
func (d *Day) forgetNeighbour() {
	d.Beside, d.ApartPct = "", 0
	for i := range d.Parts {
		d.Parts[i].BesideN, d.Parts[i].ApartPct = 0, 0
	}
}

// WithoutNeighbour returns the day without what its readings were compared with.
func (d Day) WithoutNeighbour() Day {
	d.forgetNeighbour()
	return d
}

// Fail takes in a reading that failed.
func (w *Watch) Fail() { w.day.Errors++ }

// Same returns for how long the readings have been the same to the last digit, at the last one.
func (w Watch) Same() time.Duration { return w.at - w.since }

// Reading returns the last reading; false before the first.
func (w Watch) Reading() (air.State, bool) { return w.last, w.seen }

// EndDay returns the day so far and begins the next one. at is the monotonic time of midnight.
func (w *Watch) EndDay(at time.Duration) Day {
	w.gaps.cut(at, w.StaleAfter, &w.day.Oldest, &w.day.Down)
	d := w.day
	w.day, w.besideN = Day{}, 0
	return d
}

// apart returns by how much more one sensor reads than another, in % RH at the temperature of the
// first: sensors of one zone see the same vapour, but one of them may be a kelvin warmer.
func apart(a, b air.State) float64 {
	full := air.State{TemperatureC: a.TemperatureC, HumidityPct: 100}.VapourPressurePa()
	return a.HumidityPct - 100*b.VapourPressurePa()/full
}

const (
	// keptDays is how many of the newest days of a sensor are looked at, beside the first ones.
	keptDays = 70
	// knownDays is how many days the usual ones are known from.
	knownDays = 14
)

// Kept returns days with a new one, the oldest first: the first two weeks, which are what drift is
// judged against, and the newest ten.
func Kept(days []Day, d Day) []Day {
	days = append(slices.Clone(days), d)
	if n := len(days); n > baseDays+keptDays {
		days = slices.Delete(days, baseDays, n-keptDays)
	}
	return days
}

// The limits of StuckAfter. A sensor with steps of 0.1 and a quiet room can stand still for some
// hours at night; one with finer steps moves with each reading.
const (
	leastStuck  = time.Hour
	mostStuck   = 24 * time.Hour
	stuckFactor = 3
)

// StuckAfter returns after how long readings that are the same to the last digit are those of a
// sensor that is stuck: three times the longest such time of its last two weeks, which shows both its
// own resolution and how quiet its zone is. It is between 1 and 24 hours, and 24 hours while fewer
// than two days are known.
func StuckAfter(days []Day) time.Duration {
	if len(days) < 2 {
		return mostStuck
	}
	longest := time.Duration(0)
	for _, d := range days[max(len(days)-knownDays, 0):] {
		longest = max(longest, d.Same)
	}
	return min(max(stuckFactor*longest, leastStuck), mostStuck)
}

// The limits of Drift, which are the result of simulated years: healthy sensors whose gains differ by
// 4 % come apart by up to 2 % RH from winter to summer, but by less than 1 % within a month.
const (
	// baseDays is how many days tell how far two sensors were apart before, from the first on or a
	// month ago.
	baseDays = 14
	// nowDays is how many days tell how far they are apart now.
	nowDays = 7
	// agoDays is how many days ago the days of a month ago end.
	agoDays = 28
	// monthPct and everPct are the least drift that is told, in % RH: since a month ago, and since the
	// first days.
	monthPct = 1.5
	everPct  = 3
	// driftSigma is how many standard deviations of a usual day the drift must have.
	driftSigma = 5
)

// Drift returns by how much the difference to the neighbour has changed, in % RH, and whether that
// is drift: more than 1.5 % RH since a month ago, or more than 3 % RH since the first two weeks of the
// days that were compared with the same neighbour; and more than five standard deviations of those
// days. The same hours of the day are compared, so that neither the sun on one of them nor a supply that is off at night
// is drift. known is false while there are not enough days. A drift of 3 % RH a month is found within the
// month.
func Drift(days []Day) (pct float64, drifts, known bool) {
	apart := besideOne(days)
	n := len(apart)
	if n < baseDays+nowDays {
		return 0, false, false
	}
	since := func(then []Day, least float64) (float64, bool) {
		by, scatter := since(then, apart[n-nowDays:])
		return by, math.Abs(by) > max(least, driftSigma*scatter)
	}
	ago := apart[:baseDays]
	if n >= agoDays+baseDays {
		ago = apart[n-agoDays-baseDays : n-agoDays]
	}
	pct, drifts = since(ago, monthPct)
	if ever, far := since(apart[:baseDays], everPct); far {
		return ever, true, true
	}
	return pct, drifts, true
}

// besideOne returns the days on which a sensor was compared with the neighbour that it was compared with last, up to
// the newest on which it was that one.
func besideOne(days []Day) (apart []Day) {
	beside := ""
	for _, d := range slices.Backward(days) {
		if d.Beside == "" {
			continue
		}
		if beside == "" {
			beside = d.Beside
		}
		if d.Beside != beside {
			break
		}
		apart = append(apart, d)
	}
	slices.Reverse(apart)
	return apart
}

func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// The limits of Moved. A room's humidity follows the weather and the season, so that a sensor alone
// shows only a gross change.
const (
	movedWeeks  = 8
	movedPct    = 35
	movedFactor = 4
)

// Moved compares a sensor with its own past, where it has no neighbour: it returns by how much the
// mean humidity of the last two weeks is beyond that of each of the eight weeks before, in % RH, and
// whether that is more than weather and season do: more than 35 % RH beyond all of them, in both
// weeks, and four times what two weeks differ by in the mean. Of each week the same hours are compared.
func Moved(days []Day) (pct float64, moved, known bool) {
	weeks := weekly(days, movedWeeks+2)
	if weeks == nil {
		return 0, false, false
	}
	past, now := weeks[len(weeks)-movedWeeks-2:len(weeks)-2], weeks[len(weeks)-2:]
	steps := 0.0
	for i := range past[1:] {
		steps += math.Abs(past[i+1]-past[i]) / float64(len(past)-1)
	}
	limit := max(movedPct, movedFactor*steps)
	low, high := slices.Min(past), slices.Max(past)
	switch below, above := low-max(now[0], now[1]), min(now[0], now[1])-high; {
	case below > 0:
		return -below, below > limit, true
	case above > 0:
		return above, above > limit, true
	}
	return 0, false, true
}

const (
	// recentDays is how many days the errors and jumps of a sensor are counted over.
	recentDays = 7
	// mostErrors is the largest share of failed readings, and mostJumps of jumps in a day, of a sensor
	// that is in order: a plug that is moved costs some readings, a door beside it makes some jumps
	// (assumptions).
	mostErrors = 0.05
	mostJumps  = 10
	// lastDayPart is the part of a limit that the last day must exceed too. A sensor that was mended
	// is thereby in order after one good day, and not only after a week of them.
	lastDayPart = 0.5
)

// recent returns the newest seven days, and whether there are as many.
func recent(days []Day) ([]Day, bool) {
	return days[max(len(days)-recentDays, 0):], len(days) >= recentDays
}

// ErrorShare returns the share of the readings of the newest seven days that failed, 0 to 1. known is
// false while fewer days are known.
func ErrorShare(days []Day) (share float64, known bool) {
	week, known := recent(days)
	return errorShare(week), known
}

// errorShare returns the share of readings that failed, 0 where there are none.
func errorShare(days []Day) float64 {
	var errors, all int
	for _, d := range days {
		errors, all = errors+d.Errors, all+d.Errors+d.N
	}
	if all == 0 {
		return 0
	}
	return float64(errors) / float64(all)
}

// Fails reports whether the readings of a sensor fail more often than those of one that is in order:
// more than 5 % of the newest seven days, and more than half of that on the last of them.
func Fails(days []Day) bool {
	share, known := ErrorShare(days)
	return known && share > mostErrors && errorShare(days[len(days)-1:]) > lastDayPart*mostErrors
}

// JumpsPerDay returns how often the readings of a sensor jumped in a day, in the mean of its newest
// seven days. known is false while fewer are known.
func JumpsPerDay(days []Day) (perDay float64, known bool) {
	week, known := recent(days)
	if !known {
		return 0, false
	}
	jumps := 0
	for _, d := range week {
		jumps += d.Jumps
	}
	return float64(jumps) / recentDays, true
}

// JumpsOften reports whether the readings of a sensor jump more often than those of one that is in
// order: more than ten times a day in the newest seven days, and more than five times on the last of them.
func JumpsOften(days []Day) bool {
	perDay, known := JumpsPerDay(days)
	return known && perDay > mostJumps && float64(days[len(days)-1].Jumps) > lastDayPart*mostJumps
}
