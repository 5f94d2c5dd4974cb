package words

import (
	"fmt"

	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/health"
)

// Alarm describes an alarm to people.
type Alarm struct {
	Title    string // a few words, such as "Life got shorter"
	Cause    string // what has happened
	Limit    string // from when on it is an alarm
	Response string // what to do
}

// Alarm returns the description of the alarm with the given name, a name of [alarm.Definitions].
func (l Locale) Alarm(name string) Alarm {
	return Alarm{
		Title: l.Say("alarm." + name + ".title"), Cause: l.Say("alarm."+name+".cause", l.cause(name)...),
		Limit: l.Say("alarm."+name+".limit", l.limit(name)...), Response: l.Say("alarm." + name + ".response"),
	}
}

// cause returns the placeholders of an alarm's cause, each name before its value.
func (l Locale) cause(name string) []any {
	if name == alarm.SensorJumping {
		return []any{"step", l.TemperatureStep(health.JumpK), "humid", l.Percent(health.JumpPct, 0)}
	}
	return nil
}

// limit returns the placeholders of an alarm's limit, each name before its value.
func (l Locale) limit(name string) []any {
	switch name {
	case alarm.BatchDead:
		return []any{"risk", l.Percent(100*alarm.DeadRisk, 0)}
	case alarm.BatchLeftOpen:
		return []any{"risk", l.Percent(100*alarm.LeftOpenRisk, 0)}
	case alarm.RatioOff, alarm.ThinnerOff, alarm.OrderWrong:
		return []any{"uncorrected", l.Duration(alarm.Uncorrected)}
	case alarm.NoBatch:
		return []any{"within", l.Duration(alarm.PrintsWithin)}
	case alarm.NotChanged:
		return []any{"within", l.Duration(alarm.ChangeWithin)}
	case alarm.AirOutOfRange:
		return []any{"coldest", l.Temperature(air.MinUsualC), "warmest", l.Temperature(air.MaxUsualC), "humid", l.Percent(air.MaxUsualPct, 0)}
	case alarm.CupSweating:
		return []any{"band", l.TemperatureStep(alarm.SweatingBandK)}
	case alarm.Disagrees:
		return []any{"factor", alarm.DisagreeFactor}
	case alarm.JournalFailing:
		return []any{"slow", l.Duration(alarm.SlowWrite)}
	case alarm.QueueLong, alarm.PlantAway:
		return []any{"most", alarm.MostWaiting}
	case alarm.DiskLow:
		return []any{"mebibytes", alarm.LeastFree >> 20}
	}
	return nil
}

// HelpPath returns the path of the help about an alarm, on the page that every bench has.
func HelpPath(name string) string { return fmt.Sprintf("/help#%s", name) }
