// Package topics has the names that potlifed uses in MQTT: topics, their words, the ids of
// its clients, and the bounds of what may be sent to it. The client (package mqtt), the
// built-in broker and the description of the interface share them.
package topics

import "strings"

// The kinds of topic by the word that follows PREFIX/BENCH/; a golden pins them.
const (
	KindAvailability = "availability"
	KindDaemon       = "daemon"
	KindAir          = "air"
	KindScale        = "scale"
	KindBatch        = "batch"
	KindLight        = "light"
	KindAlarm        = "alarm"
	KindSensor       = "sensor"
	KindEvent        = "event"
	KindDo           = "do"
	KindDone         = "done"
	KindProbe        = "probe"

	wordMeaning   = "meaning"
	wordColour    = "colour"
	wordHeartbeat = "heartbeat"
)

// The payloads of the availability topic.
const (
	Online  = "online"
	Offline = "offline"
)

const (
	// ClientPrefix begins the client id of every connection of potlifed. The built-in
	// broker refuses it to others.
	ClientPrefix = "potlifed-"
	// MaxCommandBytes bounds the payload of a command.
	MaxCommandBytes = 64 << 10
	// MaxReplyBytes bounds the payload with which a lamp confirms what it shows.
	MaxReplyBytes = 4 << 10
)

// Form is the form in which a light reads what it is to show.
type Form string

// The forms, by their words in the configuration.
const (
	FormJSON    Form = "json"
	FormMeaning Form = "meaning"
	FormColour  Form = "colour"
)

// Topics are the topics of one bench.
type Topics struct{ root string }

// New returns the topics under PREFIX/BENCH/.
func New(prefix, bench string) Topics { return Topics{prefix + "/" + bench + "/"} }

// Root returns PREFIX/BENCH/, with which every topic of the bench begins.
func (t Topics) Root() string { return t.root }

// Split returns the kind of a topic and the rest after the kind's slash; ok is false for a
// topic that is not under PREFIX/BENCH/.
func (t Topics) Split(topic string) (kind, rest string, ok bool) {
	path, ok := strings.CutPrefix(topic, t.root)
	if !ok {
		return "", "", false
	}
	kind, rest, _ = strings.Cut(path, "/")
	return kind, rest, true
}

// Availability returns the topic that says whether the daemon is connected.
func (t Topics) Availability() string { return t.root + KindAvailability }

// Daemon returns the topic that says which run of the daemon is connected.
func (t Topics) Daemon() string { return t.root + KindDaemon }

// Air returns the topic of the air of a zone.
func (t Topics) Air(zone string) string { return t.root + KindAir + "/" + zone }

// Scale returns the topic of what a scale shows.
func (t Topics) Scale(id string) string { return t.root + KindScale + "/" + id }

// Batch returns the topic of an open batch.
func (t Topics) Batch(id string) string { return t.root + KindBatch + "/" + id }

// Light returns the topic of what a light is to show, in one of its forms.
func (t Topics) Light(id string, form Form) string {
	switch form {
	case FormMeaning:
		return t.root + KindLight + "/" + id + "/" + wordMeaning
	case FormColour:
		return t.root + KindLight + "/" + id + "/" + wordColour
	}
	return t.root + KindLight + "/" + id
}

// Heartbeat returns the topic that tells a lamp without a clock that its message still holds.
func (t Topics) Heartbeat(id string) string {
	return t.root + KindLight + "/" + id + "/" + wordHeartbeat
}

// Lights returns the filters that match the topics of all lights in all forms.
func (t Topics) Lights() []string {
	return []string{t.Light("+", FormJSON), t.Light("+", FormMeaning), t.Light("+", FormColour)}
}

// Alarm returns the topic of an alarm that is active.
func (t Topics) Alarm(name, subject string) string {
	return t.root + KindAlarm + "/" + name + "/" + subject
}

// Sensor returns the topic of the condition of a sensor or a scale.
func (t Topics) Sensor(id string) string { return t.root + KindSensor + "/" + id }

// Event returns the topic of the journal's events.
func (t Topics) Event() string { return t.root + KindEvent }

// Do returns the topic on which a command is given.
func (t Topics) Do(verb string) string { return t.root + KindDo + "/" + verb }

// Done returns the topic on which a command is answered.
func (t Topics) Done(verb string) string { return t.root + KindDone + "/" + verb }

// Probe returns the topic on which `potlifed check` finds out whether the broker delivers.
func (t Topics) Probe() string { return t.root + KindProbe }

// Verb returns the verb of a command's topic; ok is false for any other topic.
func (t Topics) Verb(topic string) (verb string, ok bool) {
	verb, ok = strings.CutPrefix(topic, t.Do(""))
	return verb, ok && verb != "" && !strings.Contains(verb, "/")
}
