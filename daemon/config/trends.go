package config

import (
	"strconv"
	"strings"
	"time"

	"potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/trend"
)

// Trend is an instrument that follows the batch on a press: the torque of a stirrer, or the current of a motor that
// moves the ink. Experimental.
type Trend struct {
	ID     string
	Press  string // observes: {batch-of: PRESS}
	Source Source // mqtt or line

	Port    string // of line: device path or tcp://host:port
	Baud    int    // default 9600
	Mode    string // default 8N1
	Line    string // of line: a pattern, see [climate.ParseValuePattern]
	Request string // of line: the bytes that ask for a line; empty for an instrument that sends by itself
	Every   time.Duration
	Topic   string // of mqtt
	Pointer string // of mqtt: a JSON pointer to the number

	Factor, Offset float64 // number · Factor + Offset is the value, which has to be proportional to the torque
	// IdleBelow is the value up to which the drive does not turn in the ink. It is 0 or more.
	IdleBelow  float64
	StaleAfter time.Duration // default 10 min
}

// LineConfig returns the port and the pattern of an instrument with the source line.
func (t Trend) LineConfig() trend.LineConfig {
	at := link.Settings{Port: t.Port, Baud: t.Baud, Mode: t.Mode, Request: t.Request}
	if t.Request != "" {
		at.Every, at.Silence, at.HalfOpen = t.Every, max(3*time.Second, 2*t.Every), max(30*time.Second, 3*t.Every)
	}
	return trend.LineConfig{Link: at, Pattern: t.Line, Factor: t.Factor, Offset: t.Offset}
}

// Value returns where an instrument with the source mqtt publishes.
func (t Trend) Value() climate.PublishedValue {
	p, err := climate.ParsePointer(t.Pointer)
	if err != nil { // the configuration was checked
		p = nil
	}
	return climate.PublishedValue{Topic: t.Topic, Pointer: p, Factor: t.Factor, Offset: t.Offset}
}

// InstrumentTopics returns the topics on which sensors and trends publish, each once, in the order of the
// configuration.
func (s Shop) InstrumentTopics() []string {
	topics := s.airTopics()
	for _, t := range s.Trends {
		if t.Source == Published {
			topics = appendNew(topics, t.Topic)
		}
	}
	return topics
}

// trends reads the instruments that follow batches.
func (r *reader) trends(top *mapping, standard Shop, shop *Shop) {
	shop.Trends = nil
	top.each("trends", "a list of instruments, each with id, observes and where it is read, or no such key", func(m *mapping) {
		t := r.trend(m, standard.Trends[0])
		if t.Source == Published && m.has("topic") && r.keys == nil {
			m.heardWhere([]string{t.Topic}, *shop)
		}
		shop.Trends = append(shop.Trends, t)
	})
}

func (r *reader) trend(m *mapping, t Trend) Trend {
	m.id(aDevice, &t.ID)
	const observes = "a mapping such as {batch-of: press-1}"
	m.require("observes", observes)
	if of := m.section("observes"); of != nil {
		of.require("batch-of", "the id of a press")
		of.ref("batch-of", aPress, &t.Press)
		if t.Press != "" {
			of.only("batch-of", aFollowed, t.Press, "a press of its own; one instrument follows its batch")
		}
		of.close()
	}
	source := string(t.Source)
	m.text("source", &source, oneOf(string(Published), string(Lines)))
	t.Source = Source(source)
	wired := t.Source == Lines
	if wired {
		m.need("port", portRule.want)
	}
	m.text("port", &t.Port, portRule)
	if wired && t.Port != "" {
		m.only("port", aPort, t.Port, "a port of its own; one device opens it alone")
	}
	m.whole("baud", &t.Baud, bounds{min: 300, max: 921600, unit: "baud"})
	m.text("mode", &t.Mode, modeRule)
	if wired {
		m.need("line", valueRule.want)
	}
	m.text("line", &t.Line, valueRule)
	m.request(&t.Request)
	m.duration("every", &t.Every, 100*time.Millisecond, time.Minute, "1s")
	if !wired {
		m.need("topic", "the topic on which the instrument publishes")
	}
	m.text("topic", &t.Topic, lampTopic)
	m.text("pointer", &t.Pointer, pointerRule)
	m.number("factor", &t.Factor, bounds{min: -1e6, max: 1e6})
	m.number("offset", &t.Offset, bounds{min: -1e6, max: 1e6})
	if t.Factor == 0 && m.sound("factor") {
		m.disagree("factor", "0", "a number that is not 0, such as 0.1")
	}
	m.number("idle_below", &t.IdleBelow, bounds{min: 0, max: 1e9})
	m.duration("stale_after", &t.StaleAfter, 10*time.Second, longestWait, "10m")
	if m.sound("source") {
		of := trendKeys[t.Source]
		for _, key := range m.order {
			if other, some := trendKeyOf[key]; some && other != t.Source {
				m.wrongAs(key, "with source: "+source, "no such key, which belongs to source: "+string(other)+"; of "+source+": "+of)
			}
		}
	}
	if !wired {
		t.Baud, t.Mode, t.Every = 0, "", 0
	}
	return t
}

// trendKeyOf are the keys that only one source has, and trendKeys those of each in words.
var (
	trendKeyOf = map[string]Source{
		"port": Lines, "baud": Lines, "mode": Lines, "line": Lines, "request": Lines, "every": Lines, "topic": Published, "pointer": Published,
	}
	trendKeys = map[Source]string{Lines: "port, baud, mode, line, request, every", Published: "topic, pointer"}
)

// heardWhere checks that what is published can be heard, and is not among our own topics.
func (m *mapping) heardWhere(topics []string, shop Shop) {
	if len(shop.MQTT.URLs) == 0 && shop.Broker.Listen == "" {
		key := "source"
		if !m.has(key) { // the default
			key = "topic"
		}
		m.wrongAs(key, "without mqtt and broker", "a section mqtt or broker, where the instrument publishes")
	}
	own := shop.MQTT.TopicPrefix + "/" + shop.Bench + "/"
	for _, topic := range topics {
		if strings.HasPrefix(topic, own) {
			m.disagree("topic", strconv.Quote(topic), "a topic not under "+own+": those are the daemon's own")
			return
		}
	}
}

// valueRule takes what package climate takes for the pattern of a line with one number.
var valueRule = textRule{`a pattern with {value}, such as "T {value} {word}"`, func(text string) string {
	if _, err := climate.ParseValuePattern(text); err != nil {
		_, want, _ := strings.Cut(err.Error(), ": ")
		return want
	}
	return ""
}}
