// Package describe makes the JSON schemas that the published descriptions of the HTTP API and
// of the MQTT topics share.
package describe

import (
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/view"
)

// SchemaPrefix is the place of the schemas in either description.
const SchemaPrefix = "#/components/schemas/"

// EventKind is a kind of event as it is described.
type EventKind struct {
	Kind    string
	Meaning string       // what has happened, in a sentence
	Body    reflect.Type // the structure of the fields beside time, seq, journal, kind and by
}

// SchemaName returns the name of the schema of the kind's events.
func (k EventKind) SchemaName() string {
	name := "Event"
	for word := range strings.SplitSeq(k.Kind, "-") {
		name += strings.ToUpper(word[:1]) + word[1:]
	}
	return name
}

// eventHead holds the fields that every event has.
type eventHead struct {
	Time    time.Time `json:"time" doc:"when it happened, in bench time"`
	Seq     uint64    `json:"seq" doc:"number of the event, without gaps from 1"`
	Bench   string    `json:"bench" doc:"name of the bench; the present one, also for events from before it was renamed"`
	Journal string    `json:"journal" doc:"id of the journal; another id means that events are numbered from 1 again"`
	Kind    string    `json:"kind" doc:"kind of the event"`
	By      string    `json:"by" doc:"name of the person, device or program that caused it; bench for the service itself"`
}

// Events returns a schema for each kind of event, by its name, and those of the structures
// inside of events, as events are published.
func Events(kinds []EventKind) map[string]*huma.Schema {
	// Structures inside of events have names of their own: they are those of the journal.
	own := huma.NewMapRegistry(SchemaPrefix, func(t reflect.Type, hint string) string { return "Event" + huma.DefaultSchemaNamer(t, hint) })
	for _, k := range kinds {
		event := huma.SchemaFromType(own, k.Body)
		head := huma.SchemaFromType(own, reflect.TypeFor[eventHead]())
		head.Properties["kind"].Enum = []any{k.Kind}
		maps.Copy(event.Properties, head.Properties)
		event.Description, event.Required = k.Meaning, slices.Concat(head.Required, event.Required)
		own.Map()[k.SchemaName()] = event
	}
	for _, s := range own.Map() {
		asPublished(s)
	}
	return own.Map()
}

// NullableSpans marks the spans in structures of pot life as nullable: they are null until
// hardener has touched the ink. The library can say that of plain values only.
func NullableSpans(schemas huma.Registry, structures ...reflect.Type) {
	for _, t := range structures {
		schema := schemas.Schema(t, true, "")
		for schema.Ref != "" {
			schema = schemas.SchemaFromRef(schema.Ref)
		}
		for _, name := range []string{"remaining_s", "ends_at"} {
			if p := schema.Properties[name]; p != nil && p.Ref != "" {
				schema.Properties[name] = &huma.Schema{AnyOf: []*huma.Schema{{Ref: p.Ref}, {Type: "null"}}, Description: p.Description}
			}
		}
	}
}

// asPublished gives the properties of a schema the names and types that the fields of an
// event have when it is published.
func asPublished(s *huma.Schema) {
	properties := map[string]*huma.Schema{}
	published := map[string]string{}
	for stored, p := range s.Properties {
		name := view.PublishedName(stored)
		if strings.HasSuffix(stored, "_ns") {
			p = &huma.Schema{Type: huma.TypeNumber, Format: "double", Description: p.Description + ", in s"}
		}
		published[stored], properties[name] = name, p
	}
	s.Properties = properties
	for i, stored := range s.Required {
		s.Required[i] = published[stored]
	}
}
