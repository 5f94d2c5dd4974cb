package config

import (
	"path/filepath"
	"time"
)

func (r *reader) sensor(m *mapping, s Sensor) Sensor {
	m.id(aDevice, &s.ID)
	m.require("zone", "the id of the place whose air it measures")
	m.text("zone", &s.Zone, idRule)
	if s.Zone != "" {
		r.give(anAirZone, s.Zone, start(m.fields["zone"].value).line)
	}
	m.text("source", &s.Source, sourceRule)
	m.require("path", sensorPathRule.want)
	m.text("path", &s.Path, sensorPathRule)
	if s.Path != "" {
		m.only("path", aPath, s.Path, "a path of its own; the same chip twice is no second opinion")
	}
	m.duration("every", &s.Every, 100*time.Millisecond, time.Hour, "5s")
	if accuracy := m.section("accuracy"); accuracy != nil {
		accuracy.number("temperature_c", &s.Accuracy.TemperatureAccuracyC, bounds{min: 0, above: true, max: 5, unit: "°C"})
		accuracy.number("humidity_pct", &s.Accuracy.HumidityAccuracyPct, bounds{min: 0, above: true, max: 20, unit: "% RH"})
		accuracy.close()
	}
	m.duration("stale_after", &s.StaleAfter, time.Second, longestWait, "5m")
	m.duration("check_every", &s.CheckEvery, day, 10*365*day, "365d")
	m.date("checked", &s.Checked)
	switch {
	case s.CheckEvery != 0 && s.Checked.IsZero() && m.sound("checked"):
		m.disagree("check_every", sayDuration(s.CheckEvery), "checked beside it, the day of the last check")
	case s.CheckEvery == 0 && !s.Checked.IsZero() && m.sound("check_every"):
		m.disagree("checked", s.Checked.Format(time.DateOnly), "check_every beside it, how long a check is good for")
	}
	if m.sound("every", "stale_after") && s.StaleAfter < s.Every {
		m.disagree("stale_after", sayDuration(s.StaleAfter), "no shorter than every, "+sayDuration(s.Every))
	}
	return s
}

var sourceRule = textRule{"hwmon or iio", func(text string) string {
	switch text {
	case "hwmon", "iio":
		return ""
	case "modbus", "line", "mqtt":
		return "hwmon or iio; other sources are not supported"
	}
	return "hwmon or iio"
}}

var sensorPathRule = textRule{"the sensor's folder, such as /sys/class/hwmon/hwmon2", func(text string) string {
	if filepath.IsAbs(text) {
		return ""
	}
	return "the sensor's folder as an absolute path, such as /sys/class/hwmon/hwmon2"
}}
