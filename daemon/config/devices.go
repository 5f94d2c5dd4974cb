package config

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"potlifed/devices/link"
	"potlifed/devices/scale"
)

// devices reads the scales and the sensors.
func (r *reader) devices(top *mapping, standard Shop, shop *Shop) {
	const oneScale = "a list with one scale at least, each with id and port"
	const oneSensor = "a list with one sensor at least, each with id, zone and, for the kernel's drivers, path"
	shop.Scales, shop.Sensors = nil, nil
	top.require("scales", oneScale)
	top.each("scales", oneScale, func(m *mapping) { shop.Scales = append(shop.Scales, r.scale(m, standard.Scales[0])) })
	top.some("scales", oneScale)
	top.require("sensors", oneSensor)
	top.each("sensors", oneSensor, func(m *mapping) {
		s := r.sensor(m, standard.Sensors[0])
		m.publishedWhere(s, *shop)
		shop.Sensors = append(shop.Sensors, s)
	})
	top.some("sensors", oneSensor)
}

func (r *reader) scale(m *mapping, s Scale) Scale {
	m.id(aDevice, &s.ID)
	m.require("port", scalePortRule.want)
	m.text("port", &s.Port, scalePortRule)
	if s.Port != "" {
		m.only("port", aPort, s.Port, "a port of its own; one scale opens it alone")
	}
	m.whole("baud", &s.Baud, bounds{min: 300, max: 921600, unit: "baud"})
	m.text("mode", &s.Mode, modeRule)
	m.text("line", &s.Line, lineRule)
	m.text("print_key", &s.PrintKey, keyRule)
	if s.PrintKey != "" && m.sound("line", "print_key") && s.PrintKey == s.Line {
		m.disagree("print_key", s.PrintKey, "a line that differs from those the scale sends by itself; else each of them would be the key")
	}
	m.request(&s.Request)
	if s.Request != "" && link.IsHID(s.Port) {
		m.disagree("request", quote(s.Request), "nothing, since a scale on hidraw sends by itself")
	}
	m.duration("every", &s.Every, 50*time.Millisecond, 10*time.Second, "200ms")
	m.number("division_g", &s.DivisionG, bounds{min: 0.001, max: 100, unit: "grams"})
	m.number("capacity_g", &s.CapacityG, bounds{min: 10, max: 100000, unit: "grams"})
	m.ref("zone", anAirZone, &s.Zone)
	m.checks(&s.CheckEvery, &s.Checked)
	if m.sound("division_g", "capacity_g") && s.CapacityG < 100*s.DivisionG {
		m.disagree("division_g", fmt.Sprint(s.DivisionG), fmt.Sprintf("the step of the display, at most a hundredth of capacity_g, %v", s.CapacityG))
	}
	return s
}

// checks reads how long a check of an instrument is good for, and the day of the last one.
func (m *mapping) checks(every *time.Duration, checked *time.Time) {
	m.duration("check_every", every, day, 10*365*day, "365d")
	m.date("checked", checked)
	switch {
	case *every != 0 && checked.IsZero() && m.sound("checked"):
		m.disagree("check_every", sayDuration(*every), "checked beside it, the day of the last check")
	case *every == 0 && !checked.IsZero() && m.sound("check_every"):
		m.disagree("checked", checked.Format(time.DateOnly), "check_every beside it, how long a check is good for")
	}
}

const (
	portWant      = "a device such as /dev/serial/by-id/…, or tcp://HOST:PORT"
	scalePortWant = "a device such as /dev/serial/by-id/…, tcp://HOST:PORT, or hid:VENDOR:PRODUCT for a scale on hidraw; potlifed ports lists what is plugged in"
)

var portRule = textRule{portWant, func(text string) string {
	address, isTCP := strings.CutPrefix(text, "tcp://")
	if isTCP && isHostPort(address) || filepath.IsAbs(text) && !strings.Contains(text, "://") {
		return ""
	}
	return portWant
}}

// scalePortRule takes a scale on hidraw too.
var scalePortRule = textRule{scalePortWant, func(text string) string {
	switch {
	case link.IsHID(text):
		if (link.Settings{Port: text}).Check() != nil {
			return "hid:/dev/hidraw0, or hid:VENDOR:PRODUCT or hid:VENDOR:PRODUCT:SERIAL with four hexadecimal digits each, such as hid:0922:8003"
		}
		return ""
	case portRule.check(text) == "":
		return ""
	}
	return scalePortWant
}}

// request reads what a device is asked with, as bytes.
func (m *mapping) request(to *string) {
	m.text("request", to, requestRule)
	if bytes, err := link.ParseRequest(*to); err == nil {
		*to = bytes
	}
}

// requestRule takes what the link package takes for a request.
var requestRule = textRule{`what is sent to a device that speaks only when it is asked, such as "P\r\n", or "" for one that sends by itself`, func(text string) string {
	if _, err := link.ParseRequest(text); err != nil {
		return `text with \r, \n, \t, \\ or \x and two hexadecimal digits for bytes that cannot be typed, 64 bytes at most, such as "P\r\n"`
	}
	return ""
}}

// modeRule is data bits, parity (none, even, odd, mark, space) and stop bits.
var modeRule = matching("data bits, parity and stop bits, such as 8N1 or 7E1", regexp.MustCompile(`^[5-8][NEOMS][12]$`))

// lineRule takes what the scale package takes for the shape of a line.
var lineRule = textRule{"auto, the name of a shape, or a pattern", func(text string) string {
	if _, err := scale.ParseShape(text); err != nil {
		want := strings.TrimPrefix(err.Error(), fmt.Sprintf("line shape %q: ", text))
		return strings.TrimPrefix(want, "want ")
	}
	return ""
}}

// keyRule takes what the scale package takes for the line of a print key.
var keyRule = textRule{`the line that the scale sends when its print key is pressed, as a name or a pattern like line, or ""`, func(text string) string {
	if text == "" {
		return ""
	}
	if _, err := scale.ParseKey(text); err != nil {
		want := strings.TrimPrefix(err.Error(), fmt.Sprintf("key line %q: ", text))
		return strings.TrimPrefix(want, "want ")
	}
	return ""
}}
