package asyncapi

import (
	"encoding/json"
	"maps"
	"reflect"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/mqtt"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

var answerType = reflect.TypeFor[mqtt.Answer]()

// state is a kind of state that the bench publishes.
type state struct {
	id          string // of the channel
	address     string
	description string
	message     string
	payload     reflect.Type // nil for a text
	words       []any        // the texts, where payload is nil
	qos         int
	fleeting    bool // not retained
	ends        bool // an empty retained message ends it
}

// states are all kinds of state.
var states = []state{
	{
		id: "availability", address: under.Availability(), message: "Availability", qos: 1, words: []any{topics.Online, topics.Offline},
		description: "Whether the bench is connected. offline is also the will of its connection.",
	},
	{
		id: "daemon", address: under.Daemon(), message: "Daemon", qos: 1, payload: reflect.TypeFor[mqtt.DaemonPayload](),
		description: "Which run of the program is connected, every 30 s. A message that is not retained is a sign of life.",
	},
	{
		id: "air", address: under.Air("{zone}"), message: "Air", qos: 1, payload: reflect.TypeFor[view.Air](),
		description: "The air of a zone, when it has changed by more than a deadband and at least once a minute.",
	},
	{
		id: "scale", address: under.Scale("{id}"), message: "Scale", payload: reflect.TypeFor[mqtt.ScalePayload](),
		description: "What a scale shows, when it has changed, at most five times a second.",
	},
	{
		id: "sensor", address: under.Sensor("{id}"), message: "Sensor", qos: 1, payload: reflect.TypeFor[mqtt.SensorPayload](),
		description: "The condition of a sensor or a scale, when it has changed, and what a sensor reads, when it has changed by more than a deadband and at least once a minute.",
	},
	{
		id: "batch", address: under.Batch("{id}"), message: "Batch", qos: 1, payload: reflect.TypeFor[view.BatchState](), ends: true,
		description: "An open batch, when it has changed and at least once a minute.",
	},
	{
		id: "alarm", address: under.Alarm("{alarm}", "{subject}"), message: "Alarm", qos: 1, payload: reflect.TypeFor[mqtt.AlarmPayload](), ends: true,
		description: "An alarm that is not normal, when it has changed.",
	},
	{
		id: "light", address: under.Light("{id}", topics.FormJSON), message: "Light", qos: 1, payload: reflect.TypeFor[mqtt.LightPayload](),
		description: "What a light is to show, for lights that read JSON, when it has changed and every 30 s. unknown is the will of the light's own connection.",
	},
	{
		id: "light-meaning", address: under.Light("{id}", topics.FormMeaning), message: "LightMeaning", qos: 1, words: meanings(),
		description: "The meaning of a light as one word, for lights that read it. unknown is the will of the light's own connection.",
	},
	{
		id: "light-colour", address: under.Light("{id}", topics.FormColour), message: "LightColour", qos: 1, words: colours(),
		description: "The colour of a light as one word, for lights that read it. The colour of unknown is the will of the light's own connection.",
	},
	{
		id: "light-heartbeat", address: under.Heartbeat("{id}"), message: "LightHeartbeat", fleeting: true, words: []any{"90"},
		description: "For how many seconds a lamp that reads a meaning, a colour or payloads of its own may show its last message. It follows each of them that the broker has delivered, every 30 s. A lamp that has missed it for so long must show unknown.",
	},
	{
		id: "discovery", address: "{discovery}/{component}/{node}/{object}/config", message: "Discovery", qos: 1, payload: reflect.TypeFor[mqtt.Entity](), ends: true,
		description: "Where a home-automation hub finds the state of a light, of the air, of a batch or of an alarm, where the configuration has the section discovery. Not at a plant's broker.",
	},
	{
		id: "probe", address: under.Probe(), message: "Probe", qos: 1, fleeting: true,
		description: "A random text, by which the command check finds out whether the broker delivers.",
	},
}

// State is a kind of state as the reference lists it.
type State struct {
	Topic   string // below PREFIX/BENCH/, with its variable parts in braces
	Meaning string
	QoS     int
	Payload reflect.Type // nil for a text
	// Retained reports whether the broker keeps the last message.
	Retained bool
}

// States returns all kinds of state that the bench publishes below its own topics.
func States() (list []State) {
	for _, s := range states {
		if topic, own := strings.CutPrefix(s.address, under.Root()); own {
			list = append(list, State{topic, s.description, s.qos, s.payload, !s.fleeting})
		}
	}
	return list
}

func meanings() (words []any) {
	for _, m := range light.Meanings() {
		words = append(words, string(m))
	}
	return words
}

func colours() (words []any) {
	for _, m := range light.Meanings() {
		if colour := any(m.Colour()); !slices.Contains(words, colour) {
			words = append(words, colour)
		}
	}
	return words
}

// state adds the channel of a kind of state.
func (d *document) state(s state) {
	messages := object{}
	if s.payload != nil {
		messages[s.message] = d.message(s.message, s.description, contentJSON, d.schema(s.payload))
	} else {
		text := object{"type": "string"}
		if s.words != nil {
			text["enum"] = s.words
		}
		messages[s.message] = d.message(s.message, s.description, contentText, text)
	}
	if s.ends {
		messages["Ended"] = d.message("Ended", "An empty message: the state has ended", contentText, object{"type": "string", "maxLength": 0})
	}
	d.channel(s.id, s.address, s.description, tagState, messages)
	d.operation("publish-"+s.id, "send", s.id, s.description, tagState, s.qos, !s.fleeting)
}

// plain returns schemas as the objects that are encoded.
func plain(schemas map[string]*huma.Schema) (all map[string]any, err error) {
	b, err := json.Marshal(schemas)
	if err != nil {
		return nil, err
	}
	err = json.Unmarshal(b, &all)
	return all, err
}

// open removes the bound on further properties from a schema of what the bench publishes: a
// later version may add properties. A command may have no further ones.
func open(schema any) {
	switch s := schema.(type) {
	case map[string]any:
		if s["additionalProperties"] == false {
			delete(s, "additionalProperties")
		}
		for _, inner := range s {
			open(inner)
		}
	case []any:
		for _, inner := range s {
			open(inner)
		}
	}
}

func containsParameter(address, name string) bool {
	return strings.Contains(address, "{"+name+"}")
}

func sortedKeys(o object) []string { return slices.Sorted(maps.Keys(o)) }
