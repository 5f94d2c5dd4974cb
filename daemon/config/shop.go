// Package config reads the one file that describes a shop and checks it into a
// [Shop]. Every default and every error message of the configuration lives here;
// the receiver of a Shop may rely on it: ids are unique and well formed, every
// name that refers to something refers to something that exists, and every number
// is inside its range.
package config

import (
	"slices"
	"time"

	"potlifed/model/cure"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// Shop is a checked configuration. It is plain data and is not changed after it
// was read.
type Shop struct {
	Bench   string // in topics, and a label on every metric
	DataDir string
	HTTP    HTTP
	MQTT    MQTT   // URLs is empty when neither mqtt nor broker is configured: MQTT is off
	Broker  Broker // Listen is empty when the built-in broker is not wanted
	Plant   MQTT   // the plant's broker, beside that of MQTT or Broker; URLs is empty for none
	// Discovery is what the topics begin with by which home-automation hubs find the states of the bench;
	// empty for none.
	Discovery string
	Scales    []Scale
	Sensors   []Sensor
	Trends    []Trend // experimental
	Cups      []Cup
	Presses   []Press
	Lights    []Light
	Hardeners []Hardener
	Thinners  []Thinner
	Inks      []Ink
	Defects   []Defect // kinds of print defect beside those that every shop has
	Alarms    Alarms
	Others    []string // benches on the same broker whose presses are shown too
	Clock     string   // "kernel": believe the kernel's word that the clock is set; "assume": a clock chip keeps it
	Retention Retention
	Language  string // of pages, labels and alarms; default "en"
	TimeZone  string // an IANA name; empty for the machine's, see [Shop.Zone]
	Units     Units
}

// HTTP says where the page, the API and the metrics are served.
type HTTP struct {
	Listen        string   // host:port
	Hosts         []string // host names answered to beyond loopback and its own address
	PublicURL     string   // what a label's code points at; may be empty
	WebConfigFile string   // exporter-toolkit format, TLS and basic auth; may be empty
}

// MQTT describes the broker the daemon is a client of. With the built-in broker
// and no mqtt section, URLs is empty and the daemon connects to its own broker.
type MQTT struct {
	URLs         []string // mqtt://host:port or mqtts://host:port of a broker, or of a cluster's nodes
	CAFile       string
	CertFile     string
	KeyFile      string
	TopicPrefix  string // default "potlife"
	Username     string
	PasswordFile string
	Commands     bool // whether do/… is obeyed on this broker
}

// TLS reports whether the broker is reached over TLS.
func (m MQTT) TLS() bool { return len(m.URLs) > 0 && isTLS(m.URLs[0]) }

// Broker describes the built-in broker.
type Broker struct {
	Listen   string // host:port
	CertFile string // with KeyFile: it speaks TLS and nothing else
	KeyFile  string
}

// Scale is a bench scale.
type Scale struct {
	ID        string
	Port      string        // device path, tcp://host:port or hid:…
	Baud      int           // default 9600
	Mode      string        // default 8N1
	Line      string        // default auto
	PrintKey  string        // the line that its print key sends; empty for none
	Request   string        // the bytes that ask it for a weight; empty for a scale that sends by itself
	Every     time.Duration // how often it is asked; default 200 ms
	DivisionG float64
	CapacityG float64
	Zone      string // default: the first sensor's zone
	// CheckEvery and Checked are those of its check with weights, as for a [Sensor].
	CheckEvery time.Duration
	Checked    time.Time
}

// Cup is a kind of ink cup.
type Cup struct {
	ID           string
	InkMinimumG  float64
	FillMaximumG float64
	EmptyG       float64 // 0: not known, learned at the bench
	MouthMM      float64 // its inner diameter, what thinner evaporates from; default 90
	Exposure     float64 // 0 < x ≤ 1
	Lag          time.Duration
}

// Press is one ink-cup position of a printing machine.
type Press struct {
	ID   string
	Zone string
	Cup  string
}

// Light shows what one or more presses need.
type Light struct {
	ID      string
	Presses []string
	Reads   []string // of "json", "meaning", "colour": the topics this light reads; none with a topic of its own
	// Topic is where a lamp of another maker reads, and Payloads what it takes there for
	// each meaning; empty for lights that read our own topics.
	Topic    string
	Payloads map[light.Meaning]string
	// FlashingPayloads are what such a lamp takes to flash; those of the other meanings
	// are Payloads.
	FlashingPayloads map[light.Meaning]string
	// Confirms is where the lamp reports back what it shows, empty when it does not. It
	// then has Topic, or one of Reads. ConfirmPayloads is how it spells its answers, empty
	// when it repeats what it was sent.
	Confirms        string
	ConfirmWithin   time.Duration // default 10 s
	ConfirmPayloads map[light.Meaning]string
}

// Hardener is a hardener the shop uses.
type Hardener struct {
	ID              string
	UseWithinOpened time.Duration // 0: not stated
	SafetySheet     string        // the link to its safety data sheet; may be empty
}

// Thinner is a thinner the shop uses.
type Thinner struct {
	ID               string
	VapourPressurePa float64
	MolarMassG       float64
	Hydroxyl         bool
	SafetySheet      string // the link to its safety data sheet; may be empty
}

// Ink is a two-component ink with its data sheet's figures.
type Ink struct {
	ID                string
	Hardener          string // may be empty
	Ratio             mix.Ratio
	RatioTolerancePct float64  // default 5
	Thinners          []string // may be empty
	ThinnerPct        ThinnerPct
	Sheet             cure.Sheet
	Life              cure.Ink // Sheet, calibrated
	Rest              time.Duration
	// Stir is how long the cup is off the scale to be stirred; 0 if that must be confirmed.
	Stir        time.Duration
	SafetySheet string // the link to its safety data sheet; may be empty
}

// SafetySheet is where the safety data sheet of a material is found.
type SafetySheet struct {
	Part string // ink, hardener or thinner
	ID   string // of the material
	Link string
}

// SafetySheets returns the safety data sheets of an ink, of its hardener and of its thinners, as far
// as the configuration names them.
func (s Shop) SafetySheets(ink Ink) []SafetySheet {
	var sheets []SafetySheet
	add := func(part, id, link string) {
		if link != "" {
			sheets = append(sheets, SafetySheet{part, id, link})
		}
	}
	add("ink", ink.ID, ink.SafetySheet)
	for _, h := range s.Hardeners {
		if h.ID == ink.Hardener {
			add("hardener", h.ID, h.SafetySheet)
		}
	}
	for _, t := range s.Thinners {
		if slices.Contains(ink.Thinners, t.ID) {
			add("thinner", t.ID, t.SafetySheet)
		}
	}
	return sheets
}

// ThinnerPct is the thinner's range and its starting values, in per cent of ink
// plus hardener.
type ThinnerPct struct {
	Min, Max, Dark, Light float64 // defaults 10, 20, 10, 12 (common practice, no source)
}

// Defect is a kind of print defect.
type Defect struct {
	ID    string
	Words string // its name for people
}

// Alarms are the limits that alarms and lights work by.
type Alarms struct {
	EndingBefore time.Duration // default 30 min
	MixingTakes  time.Duration // default 15 min
	StopAtRisk   float64       // default 0.25
}

// Retention says how long thinned air is kept.
type Retention struct {
	Raw, Minutes time.Duration // defaults 14 d, 400 d
}
