// Package mqtt publishes what the bench knows over MQTT 3.1.1, takes commands in, and
// holds a connection of its own for each topic that a light reads. It also has the
// built-in broker.
//
// Three goroutines' worth of work run under one [Publisher]: one ordered worker that
// publishes states, events and answers on the main connection; one worker that obeys
// commands one after another; and one a light's topic. States go out by exception and
// only their newest value matters; events go out in order from the journal, whose
// cursor is the only memory of what is still to be sent. Nothing here can hold up the
// bench: it is only ever read from, and asked through its request queue.
package mqtt

// The words of topics, written out once; a golden pins them.
const (
	wordAvailability = "availability"
	wordDaemon       = "daemon"
	wordAir          = "air"
	wordScale        = "scale"
	wordBatch        = "batch"
	wordLight        = "light"
	wordMeaning      = "meaning"
	wordColour       = "colour"
	wordAlarm        = "alarm"
	wordSensor       = "sensor"
	wordEvent        = "event"
	wordDo           = "do"
	wordDone         = "done"

	payloadOnline  = "online"
	payloadOffline = "offline"
)

// Topics makes the topics of one bench.
type Topics struct{ root string }

// NewTopics returns the topics under PREFIX/BENCH/.
func NewTopics(prefix, bench string) Topics { return Topics{prefix + "/" + bench + "/"} }

// Availability says whether the daemon is there.
func (t Topics) Availability() string { return t.root + wordAvailability }

// Daemon says which run of the daemon is there.
func (t Topics) Daemon() string { return t.root + wordDaemon }

// Air is a zone's air.
func (t Topics) Air(zone string) string { return t.root + wordAir + "/" + zone }

// Scale is what a scale shows.
func (t Topics) Scale(id string) string { return t.root + wordScale + "/" + id }

// Batch is an open batch.
func (t Topics) Batch(id string) string { return t.root + wordBatch + "/" + id }

// Light is what a light is to show, in the form that it reads.
func (t Topics) Light(id string, form Form) string {
	switch form {
	case FormMeaning:
		return t.root + wordLight + "/" + id + "/" + wordMeaning
	case FormColour:
		return t.root + wordLight + "/" + id + "/" + wordColour
	}
	return t.root + wordLight + "/" + id
}

// Alarm is a standing alarm.
func (t Topics) Alarm(name, subject string) string {
	return t.root + wordAlarm + "/" + name + "/" + subject
}

// Sensor is an instrument's condition.
func (t Topics) Sensor(id string) string { return t.root + wordSensor + "/" + id }

// Event carries every event of the journal.
func (t Topics) Event() string { return t.root + wordEvent }

// Do takes a command.
func (t Topics) Do(verb string) string { return t.root + wordDo + "/" + verb }

// Done answers a command.
func (t Topics) Done(verb string) string { return t.root + wordDone + "/" + verb }

// commands is the filter of every command.
func (t Topics) commands() string { return t.Do("+") }

// lights are the filters of lights' retained states, of which an earlier run may have
// left some.
func (t Topics) lights() []string {
	return []string{t.Light("+", FormJSON), t.Light("+", FormMeaning), t.Light("+", FormColour)}
}
