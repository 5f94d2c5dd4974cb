package config

import (
	"reflect"
	"slices"
)

// Changes are what is different between two configurations.
type Changes struct {
	// Words say what is different, one text for each thing.
	Words []string
	// Restart are the keys that are different and take effect only at a start.
	Restart []string
}

// Compare returns what is different in a new configuration. What other programs and people's
// devices hold on to, such as addresses and the bench's name, needs a restart.
func Compare(before, after Shop) Changes {
	var c Changes
	for _, part := range []struct {
		key           string
		before, after any
	}{
		{"bench", before.Bench, after.Bench}, {"data_dir", before.DataDir, after.DataDir},
		{"http", before.HTTP, after.HTTP}, {"mqtt", before.MQTT, after.MQTT}, {"broker", before.Broker, after.Broker},
		{"plant", before.Plant, after.Plant}, {"discovery", before.Discovery, after.Discovery},
		{"lights", before.Lights, after.Lights}, {"others", before.Others, after.Others},
		{"clock", before.Clock, after.Clock}, {"retention", before.Retention, after.Retention},
		{"language", before.Language, after.Language}, {"time_zone", before.TimeZone, after.TimeZone}, {"units", before.Units, after.Units},
	} {
		if !reflect.DeepEqual(part.before, part.after) {
			c.Restart = append(c.Restart, part.key)
		}
	}
	if after.Broker.Listen != "" && !slices.Equal(before.InstrumentTopics(), after.InstrumentTopics()) {
		c.Restart = append(c.Restart, "the topics of sensors and trends at the built-in broker")
	}
	compare(&c, "scales", before.Scales, after.Scales, func(s Scale) string { return s.ID })
	compare(&c, "sensors", before.Sensors, after.Sensors, func(s Sensor) string { return s.ID })
	compare(&c, "trends", before.Trends, after.Trends, func(t Trend) string { return t.ID })
	compare(&c, "cups", before.Cups, after.Cups, func(k Cup) string { return k.ID })
	compare(&c, "presses", before.Presses, after.Presses, func(p Press) string { return p.ID })
	compare(&c, "hardeners", before.Hardeners, after.Hardeners, func(h Hardener) string { return h.ID })
	compare(&c, "thinners", before.Thinners, after.Thinners, func(t Thinner) string { return t.ID })
	compare(&c, "inks", before.Inks, after.Inks, func(k Ink) string { return k.ID })
	compare(&c, "defects", before.Defects, after.Defects, func(d Defect) string { return d.ID })
	if before.Alarms != after.Alarms {
		c.Words = append(c.Words, "alarms: changed")
	}
	return c
}

// compare adds what is different between two lists of things with ids.
func compare[T any](c *Changes, key string, before, after []T, id func(T) string) {
	find := func(list []T, name string) int {
		return slices.IndexFunc(list, func(t T) bool { return id(t) == name })
	}
	words := len(c.Words)
	for _, t := range after {
		switch i := find(before, id(t)); {
		case i < 0:
			c.Words = append(c.Words, key+": "+id(t)+" is new")
		case !reflect.DeepEqual(before[i], t):
			c.Words = append(c.Words, key+": "+id(t)+" has changed")
		}
	}
	for _, t := range before {
		if find(after, id(t)) < 0 {
			c.Words = append(c.Words, key+": "+id(t)+" is gone")
		}
	}
	if words == len(c.Words) && !reflect.DeepEqual(before, after) { // the first sensor of a zone speaks for it where none is trusted
		c.Words = append(c.Words, key+": in another order")
	}
}
