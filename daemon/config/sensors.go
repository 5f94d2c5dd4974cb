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
	m.checks(&s.CheckEvery, &s.Checked)
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
