package chart

import (
	"math"
	"strconv"
	"time"
)

// tick is a mark of an axis.
type tick struct {
	value float64
	label string
}

// figureTicks labels round figures: 1, 2 or 5 times a power of ten apart, at most seven.
func figureTicks(low, high float64) []tick {
	span := high - low
	if !(span > 0) || math.IsInf(span, 0) {
		return nil
	}
	step := math.Pow(10, math.Floor(math.Log10(span/6)))
	for _, factor := range []float64{1, 2, 5, 10} {
		if span/(step*factor) <= 6 {
			step *= factor
			break
		}
	}
	digits := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	var ticks []tick
	first, last := math.Ceil(low/step-1e-9), math.Floor(high/step+1e-9)
	for i := first; i <= last; i++ {
		v := i * step
		if i == 0 {
			v = 0 // and not -0
		}
		ticks = append(ticks, tick{value: v, label: strconv.FormatFloat(v, 'f', digits, 64)})
	}
	return ticks
}

// unit is a distance between the ticks of a time axis.
type unit struct {
	length time.Duration // about
	months int           // or so many months
	days   int           // or so many days
	format string
}

var units = []unit{
	{length: time.Minute, format: "15:04"}, {length: 5 * time.Minute, format: "15:04"}, {length: 15 * time.Minute, format: "15:04"},
	{length: 30 * time.Minute, format: "15:04"}, {length: time.Hour, format: "15:04"}, {length: 2 * time.Hour, format: "15:04"},
	{length: 3 * time.Hour, format: "15:04"}, {length: 6 * time.Hour, format: "15:04"}, {length: 12 * time.Hour, format: "2 Jan 15:04"},
	{length: 24 * time.Hour, days: 1, format: "2 Jan"}, {length: 48 * time.Hour, days: 2, format: "2 Jan"},
	{length: 7 * 24 * time.Hour, days: 7, format: "2 Jan"}, {length: 30 * 24 * time.Hour, months: 1, format: "Jan 2006"},
	{length: 91 * 24 * time.Hour, months: 3, format: "Jan 2006"}, {length: 365 * 24 * time.Hour, months: 12, format: "2006"},
}

const (
	// letter is about the width of a character of a label, and between that from one label to the next, in CSS
	// pixels.
	letter  = 7
	between = 16
	// verticalAxis is about the width of the vertical axis.
	verticalAxis = 90
	// upright is a width with room for every label: those of a vertical axis stand one above the other.
	upright = 4000
)

// timeTicks labels whole minutes, hours, days or months of a zone, at most nine, and fewer on a picture of a width in
// CSS pixels that has no room for as many. Also after a day with 23 or 25 hours, days begin at midnight, and labels some hours apart stand at
// the same hours of the clock.
func timeTicks(zone *time.Location, width int) func(low, high float64) []tick {
	return func(low, high float64) []tick {
		span := time.Duration((high - low) * float64(time.Second))
		chosen := units[len(units)-1]
		for _, u := range units {
			room := (width - verticalAxis) / (letter*(len(u.format)+1) + between)
			if span/u.length <= time.Duration(min(8, max(1, room))) {
				chosen = u
				break
			}
		}
		from, to := at(low, zone), at(high, zone)
		next := func(t time.Time) time.Time { return t.Add(chosen.length) }
		midnight := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, zone)
		t := midnight
		switch {
		case chosen.months > 0:
			t = time.Date(from.Year(), 1, 1, 0, 0, 0, 0, zone)
			next = func(t time.Time) time.Time { return t.AddDate(0, chosen.months, 0) }
		case chosen.length > time.Hour && chosen.days == 0:
			hours := int(chosen.length / time.Hour)
			next = func(t time.Time) time.Time {
				n := time.Date(t.Year(), t.Month(), t.Day(), (t.Hour()/hours+1)*hours, 0, 0, 0, zone)
				if !n.After(t) { // that hour is not in the day
					n = t.Add(chosen.length)
				}
				return n
			}
		case chosen.days > 0:
			next = func(t time.Time) time.Time { return t.AddDate(0, 0, chosen.days) }
		}
		var ticks []tick
		for ; !t.After(to); t = next(t) {
			if t.Before(from) {
				continue
			}
			label := t.Format(chosen.format)
			if chosen.length < 12*time.Hour && t.Hour() == 0 && t.Minute() == 0 {
				label = t.Format("2 Jan")
			}
			ticks = append(ticks, tick{value: X(t), label: label})
		}
		return ticks
	}
}
