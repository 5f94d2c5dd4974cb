// Package asyncapi describes the MQTT topics as an AsyncAPI 3.0 document. It is made from what
// the program itself uses: the topics, the payloads' structures, the table of requests and the
// table of event kinds.
package asyncapi

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/describe"
	"potlifed/daemon/request"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
)

// object is an object of the document. Its keys are written in alphabetical order.
type object = map[string]any

// document is the document while it is made.
type document struct {
	channels, operations, messages object
	schemas                        huma.Registry
}

// Document returns the description as JSON, for a version of the program and its kinds of
// events. The error means that a schema cannot be encoded.
func Document(version string, kinds []describe.EventKind) ([]byte, error) {
	d := &document{
		channels: object{}, operations: object{}, messages: object{},
		schemas: huma.NewMapRegistry(describe.SchemaPrefix, huma.DefaultSchemaNamer),
	}
	for _, s := range states {
		d.state(s)
	}
	describe.NullableSpans(d.schemas, reflect.TypeFor[view.BatchState]())
	d.events(kinds)
	d.commands()
	schemas, err := plain(d.schemas.Map())
	if err != nil {
		return nil, fmt.Errorf("describe the MQTT topics: %w", err)
	}
	for _, schema := range schemas {
		open(schema)
	}
	b, err := json.Marshal(object{
		"asyncapi": "3.0.0",
		"info": object{
			"title": "potlifed", "version": version, "description": about,
			"license": object{"name": "Apache-2.0"},
			"tags":    tags,
		},
		"defaultContentType": contentJSON,
		"servers":            servers,
		"channels":           d.channels,
		"operations":         d.operations,
		"components": object{
			"messages": d.messages, "schemas": schemas, "securitySchemes": object{"user": object{
				"type": "userPassword", "description": "A user of the broker. The built-in broker accepts clients without a user on a loopback address.",
			}},
		},
	})
	if err != nil {
		return nil, fmt.Errorf("describe the MQTT topics: %w", err)
	}
	return b, nil
}

const about = "Pot life of two-component ink, over MQTT 3.1.1. Masses are in grams, temperatures in °C, durations in seconds, times by RFC 3339. " +
	"States are retained; a state that has ended is replaced by an empty retained message. Events are published once, in order; a reader may receive one twice, and recognises it by journal and seq. " +
	"Lamps with topics and payloads of their own are set in the configuration and are not described here."

const (
	contentJSON = "application/json"
	contentText = "text/plain"
)

// The tags of channels and operations.
const (
	tagState   = "state"
	tagEvent   = "event"
	tagCommand = "command"
)

var tags = []object{
	{"name": tagState, "description": "Retained states, published when they change and at intervals"},
	{"name": tagEvent, "description": "The journal's events"},
	{"name": tagCommand, "description": "Changes that a client asks for, and their answers"},
}

var servers = object{
	"broker":     server("mqtt", "The broker that the bench connects to, without TLS: the built-in one or the shop's own"),
	"broker-tls": server("secure-mqtt", "The broker that the bench connects to, with TLS"),
	"plant":      server("mqtt", "The plant's broker, without TLS: events and states, no lights and no commands; its address and topic prefix are those of the section plant"),
	"plant-tls":  server("secure-mqtt", "The plant's broker, with TLS"),
}

func server(protocol, description string) object {
	return object{
		"host": "{host}", "protocol": protocol, "protocolVersion": "3.1.1", "description": description,
		"security": []object{{"$ref": "#/components/securitySchemes/user"}},
		"variables": object{"host": object{
			"default": "localhost:1883", "description": "address of the broker as HOST:PORT, as in mqtt.url of the bench's configuration",
		}},
	}
}

// parameters describes the variable parts of the channels' addresses.
var parameters = map[string]object{
	"prefix":  {"description": "topic prefix, mqtt.topic_prefix in the configuration", "default": "potlife"},
	"bench":   {"description": "name of the bench", "examples": []string{"bench-1"}},
	"zone":    {"description": "id of the zone"},
	"id":      {"description": "id of the scale, sensor, batch or light"},
	"alarm":   {"description": "name of the alarm"},
	"subject": {"description": "id of what the alarm is about: a batch, press, zone, sensor, scale or light, else the bench"},
	"verb":    {"description": "verb of the command"},

	"discovery": {"description": "prefix of the hub, discovery.prefix in the configuration", "default": "homeassistant"},
	"component": {"description": "what the hub takes it for", "enum": []string{"sensor", "binary_sensor"}},
	"node":      {"description": "potlifed with topic prefix and bench, as potlifed_potlife_bench-1"},
	"object":    {"description": "the entity, as light_ID, temperature_ZONE, humidity_ZONE, batch_ID or alarm_NAME_SUBJECT"},
}

// under are the topics with their variable parts in braces.
var under = topics.New("{prefix}", "{bench}")

// channel adds a channel with its parameters and messages.
func (d *document) channel(id, address, description, tag string, messages object) {
	used := object{}
	for name, p := range parameters {
		if containsParameter(address, name) {
			used[name] = p
		}
	}
	d.channels[id] = object{
		"address": address, "description": description, "parameters": used, "messages": messages, "tags": []object{{"name": tag}},
		"servers": []object{{"$ref": "#/servers/broker"}, {"$ref": "#/servers/broker-tls"}},
	}
}

// operation adds what the bench does on a channel, with all of its messages. Send means that
// the bench publishes, receive that it subscribes.
func (d *document) operation(id, action, channel, summary, tag string, qos int, retained bool) object {
	refs := []object{}
	for _, name := range sortedKeys(d.channels[channel].(object)["messages"].(object)) {
		refs = append(refs, object{"$ref": "#/channels/" + channel + "/messages/" + name})
	}
	op := object{
		"action": action, "channel": object{"$ref": "#/channels/" + channel}, "summary": summary,
		"messages": refs, "tags": []object{{"name": tag}},
		"bindings": object{"mqtt": object{"qos": qos, "retain": retained, "bindingVersion": "0.2.0"}},
	}
	d.operations[id] = op
	return op
}

// message adds a message and returns the reference to it from a channel.
func (d *document) message(id, summary, contentType string, payload any) object {
	d.messages[id] = object{"name": id, "title": id, "summary": summary, "contentType": contentType, "payload": payload}
	return object{"$ref": "#/components/messages/" + id}
}

// schema returns a reference to the schema of a payload's structure.
func (d *document) schema(of reflect.Type) *huma.Schema { return d.schemas.Schema(of, true, "") }

// events adds the channel of events.
func (d *document) events(kinds []describe.EventKind) {
	messages := object{}
	for name, schema := range describe.Events(kinds) {
		d.schemas.Map()[name] = schema
	}
	for _, k := range kinds {
		name := k.SchemaName()
		messages[name] = d.message(name, k.Meaning, contentJSON, object{"$ref": describe.SchemaPrefix + name})
	}
	d.channel("event", under.Event(), "Every event of the journal, once it is on disk. Numbers have no gaps; a reader that misses one asks the HTTP API for it.", tagEvent, messages)
	d.operation("publish-event", "send", "event", "Publish an event of the journal", tagEvent, 1, false)
}

// commands adds a channel for each command, and the channel of their answers.
func (d *document) commands() {
	verbs := []string{}
	for _, row := range request.Table() {
		if row.MQTT {
			verbs = append(verbs, row.Verb)
		}
	}
	answer := d.message("Answer", "The outcome of a command", contentJSON, d.schema(answerType))
	d.messages["Answer"].(object)["correlationId"] = correlation
	d.channel("done", under.Done("{verb}"), "The answers to commands", tagCommand, object{"Answer": answer})
	verb := object{}
	for key, value := range parameters["verb"] {
		verb[key] = value
	}
	verb["enum"] = verbs
	d.channels["done"].(object)["parameters"].(object)["verb"] = verb
	d.operation("publish-answer", "send", "done", "Publish the answer to a command", tagCommand, 1, false)

	for _, row := range request.Table() {
		if !row.MQTT {
			continue
		}
		id := "do-" + row.Verb
		name := "Command-" + row.Verb
		ref := d.message(name, row.Summary, contentJSON, d.command(row))
		d.messages[name].(object)["correlationId"] = correlation
		d.channel(id, under.Do(row.Verb), "A command that a client publishes, without the retain flag, where mqtt.commands allows it", tagCommand, object{name: ref})
		op := d.operation("carry-out-"+row.Verb, "receive", id, row.Summary, tagCommand, 1, false)
		op["reply"] = object{
			"channel": object{"$ref": "#/channels/done"}, "messages": []object{{"$ref": "#/channels/done/messages/Answer"}},
		}
	}
}

// correlation says how an answer names its command.
var correlation = object{"location": "$message.payload#/ref", "description": "the client's own name for the command"}

// commandHead holds the fields that every command has beside those of its change.
type commandHead struct {
	Ref string `json:"ref" minLength:"1" maxLength:"128" doc:"the client's own name for the command, new for each: a repetition with the same ref has no further effect"`
	At  string `json:"at" format:"date-time" doc:"when the command was given; it is ignored when that is more than a minute away from the bench's clock; a report of prints or rejects may be 15 minutes old and is counted at its time"`
}

// command returns the schema of a command's payload.
func (d *document) command(row request.Row) *huma.Schema {
	schema := huma.SchemaFromType(d.schemas, row.Type)
	head := huma.SchemaFromType(d.schemas, reflect.TypeFor[commandHead]())
	for name, property := range head.Properties {
		schema.Properties[name] = property
	}
	for i := range row.Type.NumField() {
		field := row.Type.Field(i)
		name, _, _ := strings.Cut(field.Tag.Get("json"), ",")
		if slices.Contains(row.About, name) { // which HTTP carries in the path, and its description leaves out
			field.Tag = reflect.StructTag(strings.Replace(string(field.Tag), `hidden:"true"`, "", 1))
			schema.Properties[name] = huma.SchemaFromField(d.schemas, field, "")
		}
	}
	for _, property := range schema.Properties {
		if property.Type == huma.TypeArray {
			property.Nullable = false
		}
	}
	schema.Required = append([]string{"ref", "at"}, row.Required()...)
	schema.Description = row.Summary
	return schema
}
