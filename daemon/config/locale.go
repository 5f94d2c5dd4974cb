package config

import (
	"slices"

	"os"
	"strings"
	"time"
	_ "time/tzdata" // a Pi may have no time zones of its own; 0.4 MB

	"potlifed/daemon/words"
	"potlifed/model/defect"
)

// Units are the units that people read on pages and labels. What is sent to programs is in °C.
type Units struct {
	Temperature string // "C" or "F"
}

// locale reads how people are written to.
func (r *reader) locale(top *mapping, shop *Shop) {
	top.text("language", &shop.Language, oneOf(words.Codes()...))
	top.text("time_zone", &shop.TimeZone, timeZoneRule)
	if m := top.section("units"); m != nil {
		m.text("temperature", &shop.Units.Temperature, oneOf("C", "F"))
		m.close()
	}
}

// timeZoneRule wants a name that is in the time zone database. "Local" and the empty name, which
// [time.LoadLocation] takes, say nothing about where the shop is.
var timeZoneRule = textRule{"the IANA name of a time zone, such as Europe/Berlin", func(text string) string {
	if _, err := time.LoadLocation(text); err != nil || text == "" || text == "Local" {
		return "the IANA name of a time zone, such as Europe/Berlin"
	}
	return ""
}}

// Zone returns the time zone of the shop: the configured one, or that of the machine, with its
// IANA name where that can be found, else [time.Local].
func (s Shop) Zone() *time.Location {
	name := s.TimeZone
	if name == "" {
		name = machineZone()
	}
	if name == "" {
		return time.Local
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return time.Local
	}
	return zone
}

// machineZone returns the name of the machine's time zone: that in the environment, or that
// which /etc/localtime points at. It is empty when neither has a name.
func machineZone() string {
	name, given := os.LookupEnv("TZ")
	if !given {
		target, _ := os.Readlink("/etc/localtime")
		_, name, _ = strings.Cut(target, "zoneinfo/")
		return name
	}
	if name == "" {
		return "UTC" // as package time takes an empty TZ
	}
	return strings.TrimPrefix(name, ":")
}

// Locale returns how people of the shop are written to.
func (s Shop) Locale() words.Locale {
	l := words.Locale{Zone: s.Zone(), Fahrenheit: s.Units.Temperature == "F"}
	if in, ok := words.In(s.Language); ok {
		l.Language = in
	}
	return l
}

// DefectWords returns the name of a kind of print defect for people, and the id of one that the
// shop does not have.
func (s Shop) DefectWords(id string) string {
	for _, d := range s.Defects {
		if d.ID == id {
			return d.Words
		}
	}
	if slices.Contains(defect.Trade(), id) {
		return s.Locale().Say("defect." + id)
	}
	return id
}
