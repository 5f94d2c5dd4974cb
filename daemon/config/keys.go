package config

import (
	"fmt"
	"regexp"
	"slices"
	"time"
)

// Key is a key of the configuration, as the reference lists it.
type Key struct {
	Path     string // with [] for each entry of a list
	Value    string // what it takes, with range and unit, in words
	Default  string // empty for none
	Required bool   // in a section that may be left out: required where the section is given
}

// everySection is a file with each section and one entry in each list. It is wrong in many
// ways, but the reader asks for every key that there is.
const everySection = `
http: {}
mqtt: {}
broker: {}
plant: {}
discovery: {}
scales: [{}]
sensors: [{accuracy: {}, temperature: {}, humidity: {}}]
cups: [{}]
presses: [{}]
lights: [{payloads: {}, flashing_payloads: {}, confirm_payloads: {}}]
trends: [{observes: {}}]
hardeners: [{}]
thinners: [{}]
inks: [{thinner_pct: {}, pot_life: {}}]
defects: [{}]
alarms: {}
retention: {}
units: {}
`

// Keys returns every key of the configuration in the order in which they are read: that of
// the sample file.
func Keys() []Key {
	var keys []Key
	r := &reader{given: map[kind]*register{}, keys: &keys}
	shop := defaults()
	r.shop(r.document([]byte(everySection)), &shop)
	return keys
}

var entry = regexp.MustCompile(`\[[0-9]+\]`)

// note records a key that is read, with its default, where keys are collected.
func (m *mapping) note(key, want string, standard any) {
	if k := m.noted(key); k != nil {
		k.say(want)
		switch v := standard.(type) {
		case time.Duration:
			if v != 0 {
				k.Default = sayDuration(v)
			}
		case time.Time, nil:
		case float64:
			if v != 0 {
				k.Default = fmt.Sprint(v)
			}
		default:
			k.Default = fmt.Sprint(v)
		}
	}
}

// noteRequired records that a key must be given, where keys are collected.
func (m *mapping) noteRequired(key, want string) {
	if k := m.noted(key); k != nil {
		k.say(want)
		k.Required = true
	}
}

// say adds to what a key takes, unless that was said already.
func (k *Key) say(want string) {
	switch {
	case k.Value == "":
		k.Value = want
	case k.Value != want:
		k.Value += "; " + want
	}
}

// noted returns the record of a key, a new one the first time; nil while a file is read.
func (m *mapping) noted(key string) *Key {
	if m.r.keys == nil {
		return nil
	}
	path := entry.ReplaceAllString(m.child(key), "[]")
	i := slices.IndexFunc(*m.r.keys, func(k Key) bool { return k.Path == path })
	if i < 0 {
		i = len(*m.r.keys)
		*m.r.keys = append(*m.r.keys, Key{Path: path})
	}
	return &(*m.r.keys)[i]
}
