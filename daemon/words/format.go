package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Number writes a value with the given number of decimals, the decimal mark of the language and
// a minus sign. A zero has no sign.
func (l Locale) Number(value float64, decimals int) string {
	text := strconv.FormatFloat(math.Abs(value), 'f', decimals, 64)
	negative := value < 0 && strings.Trim(text, "0.") != ""
	text = strings.Replace(text, ".", l.Say("unit.decimal"), 1)
	if negative {
		return "\u2212" + text
	}
	return text
}

// Grams writes a mass in g with one decimal.
func (l Locale) Grams(g float64) string { return l.Say("unit.grams", "value", l.Number(g, 1)) }

// Percent writes a share of a hundred with the given number of decimals.
func (l Locale) Percent(pct float64, decimals int) string {
	return l.Say("unit.percent", "value", l.Number(pct, decimals))
}

// Temperature writes a temperature, given in °C, with one decimal in the unit of the shop.
func (l Locale) Temperature(c float64) string { return l.degrees(l.Degrees(c), 1) }

// ShortTemperature writes one as [Locale.Temperature] does, and without decimals where it has none.
func (l Locale) ShortTemperature(c float64) string {
	return l.degrees(l.Degrees(c), decimalsOf(l.Degrees(c)))
}

// Degrees returns a temperature, given in °C, in the unit of the shop.
func (l Locale) Degrees(c float64) float64 {
	if l.Fahrenheit {
		return c*9/5 + 32
	}
	return c
}

// TemperatureStep writes a difference of temperatures, given in K, in the unit of the shop, without decimals
// where it has none.
func (l Locale) TemperatureStep(k float64) string {
	if l.Fahrenheit {
		k *= 9.0 / 5
	}
	return l.degrees(k, decimalsOf(k))
}

func (l Locale) degrees(value float64, decimals int) string {
	if l.Fahrenheit {
		return l.Say("unit.fahrenheit", "value", l.Number(value, decimals))
	}
	return l.Say("unit.celsius", "value", l.Number(value, decimals))
}

// decimalsOf returns 0 for a whole number, else 1.
func decimalsOf(value float64) int {
	if math.Abs(value-math.Round(value)) < 0.05 {
		return 0
	}
	return 1
}

// ShownDuration returns a duration as [Locale.Duration] writes it: rounded to whole seconds below two
// minutes, else to whole minutes; a negative one is zero.
func ShownDuration(d time.Duration) time.Duration {
	if seconds := max(0, d).Round(time.Second); seconds < 2*time.Minute {
		return seconds
	}
	return d.Round(time.Minute)
}

// Duration writes a duration in seconds below two minutes, else in minutes, or in hours and
// minutes. A negative one is zero.
func (l Locale) Duration(d time.Duration) string {
	d = ShownDuration(d)
	if d < 2*time.Minute {
		return l.Say("unit.seconds", "seconds", int(d/time.Second))
	}
	minutes := int(d / time.Minute)
	if minutes < 60 {
		return l.Say("unit.minutes", "minutes", minutes)
	}
	return l.Say("unit.hours-minutes", "hours", minutes/60, "minutes", fmt.Sprintf("%02d", minutes%60))
}

// Clock writes an instant as a time of day, with the weekday when it is on another day than now,
// and with the date when it is a week away or more.
func (l Locale) Clock(at, now time.Time) string {
	at, now = l.In(at), l.In(now)
	clock := l.Say("date.clock", "hour", fmt.Sprintf("%02d", at.Hour()), "minute", fmt.Sprintf("%02d", at.Minute()))
	switch days := daysBetween(now, at); {
	case days == 0:
		return clock
	case days > -7 && days < 7:
		return l.Say("date.clock-weekday", "weekday", l.weekday(at), "clock", clock)
	}
	return l.Say("date.clock-day", "day", l.Day(at), "clock", clock)
}

// daysBetween returns how many midnights lie between two instants, each in its own zone.
func daysBetween(from, to time.Time) int {
	midnight := func(t time.Time) time.Time {
		return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
	}
	return int(midnight(to).Sub(midnight(from)) / (24 * time.Hour))
}

// Day writes the day of an instant, such as "29 Sep 2026".
func (l Locale) Day(at time.Time) string {
	at = l.In(at)
	return l.Say("date.day", "day", at.Day(), "month", l.Say("date.month-"+strconv.Itoa(int(at.Month()))), "year", at.Year())
}

func (l Locale) weekday(at time.Time) string {
	return l.Say("date.weekday-" + strconv.Itoa(int(at.Weekday())))
}
