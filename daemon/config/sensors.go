package config

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/modbus"
	"potlifed/model/cure"
)

// Source is how a sensor is read.
type Source string

// The sources, by their names in the configuration.
const (
	Hwmon     Source = "hwmon"  // the kernel's hwmon drivers
	IIO       Source = "iio"    // the kernel's industrial I/O drivers
	Modbus    Source = "modbus" // Modbus RTU, or TCP
	Lines     Source = "line"   // lines on a serial port or a TCP connection
	Published Source = "mqtt"   // what another program publishes
)

// Sensor measures the air of one zone.
type Sensor struct {
	ID     string
	Zone   string
	Source Source
	Path   string // of hwmon and iio

	Port      string // of modbus and line: device path or tcp://host:port
	Baud      int    // default 9600
	Mode      string // default 8N1
	Line      string // of line: a pattern, see [climate.ParsePattern]
	Request   string // of line: the bytes that ask for a line; empty for a sensor that sends by itself
	Unit      int    // of modbus: the address of the unit, default 1
	Registers string // of modbus: input or holding
	WordOrder string // of modbus: high-first or low-first
	Framing   string // of modbus at tcp://: rtu or tcp, empty for tcp
	Topic     string // of mqtt, for each quantity that has none of its own
	Time      string // of mqtt: a JSON pointer to the time of the reading
	HasTime   bool
	// Temperature and Humidity say where modbus and mqtt have the quantity.
	Temperature, Humidity Quantity

	Every      time.Duration // default 5 s, for mqtt 1 min
	Accuracy   cure.Sensor   // default 0.3 °C, 2 %
	StaleAfter time.Duration // default 5 min
	// CheckEvery is how long a check of its humidity is good for; 0: it is never due.
	CheckEvery time.Duration
	// Checked is the day of its last check, midnight in UTC; zero without CheckEvery. A
	// check that was recorded since counts in its place.
	Checked time.Time
}

// Address returns where the sensor is found: another device has another address.
func (s Sensor) Address() string {
	where := s.Path
	switch s.Source {
	case Modbus:
		where = fmt.Sprintf("%s unit %d", s.Port, s.Unit)
	case Lines:
		where = s.Port
	case Published:
		where = strings.Join(s.PublishedConfig().Topics(), " ")
	}
	return string(s.Source) + " " + where
}

// Quantity is where a sensor has a quantity, and in which form.
type Quantity struct {
	Register       int
	Type           string // of the registers
	Missing        float64
	HasMissing     bool
	Topic          string
	Pointer        string  // a JSON pointer
	Factor, Offset float64 // number · Factor + Offset is in °C or per cent
}

// ModbusConfig returns the registers of a sensor with the source modbus.
func (s Sensor) ModbusConfig() climate.ModbusConfig {
	function := modbus.ReadInput
	if s.Registers == "holding" {
		function = modbus.ReadHolding
	}
	register := func(q Quantity) climate.Register {
		return climate.Register{
			Address: q.Register, Type: climate.RegisterType(q.Type), LowFirst: s.WordOrder == "low-first",
			Factor: q.Factor, Offset: q.Offset, Missing: q.Missing, HasMissing: q.HasMissing,
		}
	}
	return climate.ModbusConfig{Unit: s.Unit, Function: function, Temperature: register(s.Temperature), Humidity: register(s.Humidity)}
}

// LineConfig returns the port and the pattern of a sensor with the source line. Between two answers
// such a sensor is silent on purpose.
func (s Sensor) LineConfig() climate.LineConfig {
	at := link.Settings{Port: s.Port, Baud: s.Baud, Mode: s.Mode, Request: s.Request}
	if s.Request != "" {
		at.Every, at.Silence, at.HalfOpen = s.Every, max(3*time.Second, 2*s.Every), max(30*time.Second, 3*s.Every)
	}
	return climate.LineConfig{Link: at, Pattern: s.Line}
}

// PublishedConfig returns the topics of a sensor with the source mqtt. Both quantities must come
// within three times the interval at which the sensor publishes.
func (s Sensor) PublishedConfig() climate.PublishedConfig {
	value := func(q Quantity) climate.PublishedValue {
		p, err := climate.ParsePointer(q.Pointer)
		if err != nil { // the configuration was checked
			p = nil
		}
		return climate.PublishedValue{Topic: q.Topic, Pointer: p, Factor: q.Factor, Offset: q.Offset}
	}
	c := climate.PublishedConfig{Temperature: value(s.Temperature), Humidity: value(s.Humidity), HasTime: s.HasTime, Together: 3 * s.Every}
	if s.HasTime {
		c.Time, _ = climate.ParsePointer(s.Time) // checked as well
	}
	return c
}

// airTopics returns the topics on which sensors publish, each once, in the order of the
// configuration.
func (s Shop) airTopics() []string {
	var topics []string
	for _, c := range s.Sensors {
		if c.Source != Published {
			continue
		}
		topics = appendNew(topics, c.PublishedConfig().Topics()...)
	}
	return topics
}

// appendNew appends the texts that are not there yet.
func appendNew(list []string, texts ...string) []string {
	for _, t := range texts {
		if !slices.Contains(list, t) {
			list = append(list, t)
		}
	}
	return list
}

// sourceKeys are the keys that only some sources have.
var sourceKeys = map[string][]Source{
	"path": {Hwmon, IIO}, "port": {Modbus, Lines}, "baud": {Modbus, Lines}, "mode": {Modbus, Lines}, "line": {Lines}, "request": {Lines},
	"unit": {Modbus}, "registers": {Modbus}, "word_order": {Modbus}, "framing": {Modbus}, "topic": {Published}, "time": {Published},
	"temperature": {Modbus, Published}, "humidity": {Modbus, Published},
	"register": {Modbus}, "type": {Modbus}, "missing": {Modbus}, "pointer": {Published},
}

// belongs reports keys that another source has.
func (m *mapping) belongs(source Source) {
	for _, key := range m.order {
		if of, some := sourceKeys[key]; some && !slices.Contains(of, source) && (key != "topic" || source != Published) {
			m.wrongAs(key, "with source: "+string(source), "no such key, which belongs to source: "+joinSources(of))
		}
	}
}

func joinSources(of []Source) string {
	var words []string
	for _, s := range of {
		words = append(words, string(s))
	}
	return strings.Join(words, " or ")
}

func (r *reader) sensor(m *mapping, s Sensor) Sensor {
	m.id(aDevice, &s.ID)
	m.require("zone", "the id of the place whose air it measures")
	m.text("zone", &s.Zone, idRule)
	if s.Zone != "" {
		r.give(anAirZone, s.Zone, start(m.fields["zone"].value).line)
	}
	source := string(s.Source)
	m.text("source", &source, oneOf(string(Hwmon), string(IIO), string(Modbus), string(Lines), string(Published)))
	s.Source = Source(source)
	if s.Source == Published {
		s.Every = publishedEvery
	}
	r.sourceOf(m, &s)
	if m.sound("source") {
		m.belongs(s.Source)
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
	return s.without()
}

// without returns a sensor without the defaults of other sources.
func (s Sensor) without() Sensor {
	if s.Source != Modbus && s.Source != Lines {
		s.Baud, s.Mode = 0, ""
	}
	if s.Source != Modbus {
		s.Unit, s.Registers, s.WordOrder, s.Temperature.Type, s.Humidity.Type = 0, "", "", "", ""
		if s.Source != Published {
			s.Temperature, s.Humidity = Quantity{}, Quantity{}
		}
	}
	return s
}

// sourceOf reads the keys that say where a sensor is. All are read, so that [Keys] has them.
func (r *reader) sourceOf(m *mapping, s *Sensor) {
	kernel, wired := s.Source == Hwmon || s.Source == IIO, s.Source == Modbus || s.Source == Lines
	if kernel && m.sound("source") {
		m.need("path", sensorPathRule.want)
	}
	m.text("path", &s.Path, sensorPathRule)
	if s.Path != "" && kernel {
		m.only("path", aPath, s.Path, "a path of its own; the same chip twice is no second opinion")
	}
	if wired {
		m.need("port", portRule.want)
	}
	m.text("port", &s.Port, portRule)
	m.whole("baud", &s.Baud, bounds{min: 300, max: 921600, unit: "baud"})
	m.text("mode", &s.Mode, modeRule)
	if s.Source == Lines {
		m.need("line", patternRule.want)
	}
	m.text("line", &s.Line, patternRule)
	m.request(&s.Request)
	m.whole("unit", &s.Unit, bounds{min: 0, max: 255})
	m.text("registers", &s.Registers, oneOf("input", "holding"))
	m.text("word_order", &s.WordOrder, oneOf("high-first", "low-first"))
	m.text("framing", &s.Framing, oneOf("rtu", "tcp"))
	m.text("topic", &s.Topic, lampTopic)
	m.text("time", &s.Time, pointerRule)
	s.HasTime = m.has("time")
	r.quantity(m, s, "temperature", &s.Temperature)
	r.quantity(m, s, "humidity", &s.Humidity)
	switch {
	case s.Source == Modbus:
		r.bus(m, s)
	case s.Source == Lines && s.Port != "":
		m.only("port", aPort, s.Port, "a port of its own; one device opens it alone")
	case s.Source == Published && s.Temperature.Topic != "" && s.Temperature.Topic == s.Humidity.Topic && s.Temperature.Pointer == s.Humidity.Pointer && m.sound("temperature", "humidity"):
		m.disagree("humidity", strconv.Quote(s.Humidity.Pointer), "another pointer or topic than temperature; both would be one number")
	}
}

// publishedWhere checks that a sensor that publishes can be heard, and not in our own topics.
func (m *mapping) publishedWhere(s Sensor, shop Shop) {
	if s.Source != Published || m.r.keys != nil {
		return
	}
	m.heardWhere([]string{s.Temperature.Topic, s.Humidity.Topic}, shop)
}

// need requires a key of some sources. For [Keys] it is not required.
func (m *mapping) need(key, want string) {
	if m.r.keys == nil {
		m.require(key, want)
	}
}

// quantity reads where a sensor has a quantity.
func (r *reader) quantity(m *mapping, s *Sensor, key string, q *Quantity) {
	q.Topic = s.Topic
	if s.Source == Modbus {
		m.need(key, "a mapping with register at least, such as {register: 0, factor: 0.1}")
	}
	section := m.section(key)
	if section == nil {
		if s.Source == Published && q.Topic == "" && !m.has(key) && m.sound("topic") && key == "temperature" {
			m.need("topic", "the topic on which the sensor publishes, or a topic below temperature and humidity")
		}
		return
	}
	if s.Source == Modbus {
		section.need("register", "the address of the register, from 0")
	}
	section.whole("register", &q.Register, bounds{min: 0, max: math.MaxUint16})
	var types []string
	for _, t := range climate.RegisterTypes() {
		types = append(types, string(t))
	}
	section.text("type", &q.Type, oneOf(types...))
	section.number("missing", &q.Missing, bounds{min: math.MinInt32, max: math.MaxUint32})
	q.HasMissing = section.has("missing")
	section.text("topic", &q.Topic, lampTopic)
	section.text("pointer", &q.Pointer, pointerRule)
	section.number("factor", &q.Factor, bounds{min: -1000, max: 1000})
	section.number("offset", &q.Offset, bounds{min: -1000, max: 1000})
	if q.Factor == 0 && section.sound("factor") {
		section.disagree("factor", "0", "a number that is not 0, such as 0.1")
	}
	if s.Source == Published && q.Topic == "" && section.sound("topic") && m.sound("topic") {
		section.need("topic", "the topic on which the sensor publishes")
	}
	if s.Source == Modbus || s.Source == Published {
		section.belongs(s.Source)
	}
	section.close()
}

// bus checks what sensors on one Modbus line must have in common.
func (r *reader) bus(m *mapping, s *Sensor) {
	if s.Port == "" || !m.sound("port", "baud", "mode", "unit", "framing", "temperature", "humidity") || r.keys != nil {
		return
	}
	network := strings.HasPrefix(s.Port, "tcp://")
	serial := !network || s.Framing == "rtu" // a serial line, here or behind a serial server
	if !network && s.Framing == "tcp" {
		m.disagree("framing", "tcp", "rtu on a serial port; tcp is for tcp://HOST:PORT")
		return
	}
	if serial && (s.Unit < 1 || s.Unit > 247) {
		m.disagree("unit", strconv.Itoa(s.Unit), "1 to 247 on a serial line")
	}
	if err := s.ModbusConfig().Check(); err != nil {
		m.wrongAs("temperature", fmt.Sprintf("registers %d and %d", s.Temperature.Register, s.Humidity.Register), fmt.Sprintf("both quantities within %d registers, since one request asks for both", modbus.MostRegisters))
	}
	line := start(m.fields["port"].value).line
	if first := r.give(aPort, s.Port, line); first > 0 && r.buses[s.Port] == "" {
		m.wrongAs("port", fmt.Sprintf("already used on line %d", first), "a port of its own; one device opens it alone")
		return
	}
	if r.buses == nil {
		r.buses = map[string]string{}
	}
	settings, same := fmt.Sprintf("%d %s", s.Baud, s.Mode), "the same baud and mode for each unit of a line"
	if network {
		settings, same = "framing: "+cmp.Or(s.Framing, "tcp"), "the same framing for each unit at an address"
	}
	if was := r.buses[s.Port]; was != "" && was != settings {
		m.wrongAs("port", "shared with another unit at "+was, same)
	}
	r.buses[s.Port] = settings
	unit := fmt.Sprintf("%s unit %d", s.Port, s.Unit)
	if !serial {
		unit += fmt.Sprintf(" registers %d %d", s.Temperature.Register, s.Humidity.Register)
	}
	if first := r.give(aUnit, unit, line); first > 0 {
		m.disagree("unit", strconv.Itoa(s.Unit), fmt.Sprintf("another unit than on line %d; a late answer could be taken for that of the other sensor", first))
	}
}

var sensorPathRule = textRule{"the sensor's folder, such as /sys/class/hwmon/hwmon2", func(text string) string {
	if filepath.IsAbs(text) {
		return ""
	}
	return "the sensor's folder as an absolute path, such as /sys/class/hwmon/hwmon2"
}}

// patternRule takes what package climate takes for the pattern of a line.
var patternRule = textRule{`a pattern with {temperature} and {humidity}, such as "{temperature} C {humidity} %"`, func(text string) string {
	if _, err := climate.ParsePattern(text); err != nil {
		return strings.TrimPrefix(err.Error(), fmt.Sprintf("line pattern %q: ", text))
	}
	return ""
}}

// pointerRule takes a JSON pointer.
var pointerRule = textRule{`a JSON pointer such as /temperature, or "" for a payload that is a plain number`, func(text string) string {
	if _, err := climate.ParsePointer(text); err != nil {
		return strings.TrimPrefix(err.Error(), fmt.Sprintf("JSON pointer %q: ", text))
	}
	return ""
}}
