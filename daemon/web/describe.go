package web

import (
	"maps"
	"net/http"
	"reflect"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/describe"
	"potlifed/daemon/neighbours"
	"potlifed/daemon/view"
)

// information returns the head of the API's description.
func information(version string) *huma.Info {
	return &huma.Info{
		Title: "potlifed", Version: version,
		Description: "Pot life of two-component ink. Masses are in grams, temperatures in °C, durations in seconds, times by RFC 3339. " +
			"Everybody who reaches the address may read. A change needs a paired device or a token with the right for it.",
		License: &huma.License{Name: "Apache-2.0", Identifier: "Apache-2.0"},
	}
}

// tags are the groups of operations, in the order of the description.
var tags = []*huma.Tag{
	{Name: "batches", Description: "Mixes from the first pour to the end of pot life, what they would come to, and plans of many"},
	{Name: "presses", Description: "Presses, their prints and their lights"},
	{Name: "alarms", Description: "Alarms that are not normal"},
	{Name: "air", Description: "The air of each zone now"},
	{Name: "history", Description: "Air, prints, rejects, batches and checks of the past, and the files in which they are stored"},
	{Name: "study", Description: "How rejects go with the air and the mix"},
	{Name: "devices", Description: "Scales, sensors and instruments that follow batches, their condition and maintenance"},
	{Name: "cans", Description: "Registered cans, where their lots went, and waste"},
	{Name: "inks", Description: "Inks, and what past batches say about them"},
	{Name: "events", Description: "The journal's events, and a stream of changes"},
	{Name: "configuration", Description: "Reloading of the configuration file"},
	{Name: "access", Description: "Paired devices"},
	{Name: "benches", Description: "Other benches on the same broker"},
}

// tagOf maps the first word of a path to its tag.
var tagOf = map[string]string{
	"batches": "batches", "recipe": "batches", "plan": "batches", "presses": "presses", "lights": "presses", "alarms": "alarms",
	"air": "air", "history": "history", "storage": "history", "pictures": "history", "study": "study", "scales": "devices", "sensors": "devices", "trends": "devices", "cans": "cans", "lots": "cans", "waste": "cans",
	"inks": "inks", "events": "events", "stream": "events", "session": "access", "sessions": "access", "configuration": "configuration", "neighbours": "benches",
}

// complete completes the description of the registered operations: tags, the security of
// each, the refusals that any request may meet, and the kinds of events.
func complete(api *huma.OpenAPI, events []describe.EventKind) {
	api.Servers = []*huma.Server{{URL: "/", Description: "this bench"}}
	api.Tags = tags
	describeEvents(api.Components.Schemas, events)
	describe.NullableSpans(api.Components.Schemas, reflect.TypeFor[view.Batch](), reflect.TypeFor[view.Press]())
	if problem := api.Components.Schemas.Map()["ErrorModel"]; problem != nil {
		problem.Properties["text"] = &huma.Schema{Type: huma.TypeString, Description: "what is wrong and what to do, in the language of the shop, for the person who asked by a page"}
		problem.Required = append(problem.Required, "text")
	}
	for path, item := range api.Paths {
		word, _, _ := strings.Cut(strings.TrimPrefix(path, base), "/")
		for _, op := range []*huma.Operation{item.Get, item.Post} {
			if op == nil {
				continue
			}
			op.Tags = []string{tagOf[word]}
			if op.Security == nil {
				op.Security = []map[string][]string{} // open to everybody
			}
			mayAnswer(op, http.StatusMisdirectedRequest)
			if op.Method == http.MethodGet {
				mayAnswer(op, http.StatusUnprocessableEntity) // an unknown query parameter
			}
		}
	}
}

// mayAnswer adds to an operation that it may answer with a problem of the given status.
func mayAnswer(op *huma.Operation, status int) {
	code := strconv.Itoa(status)
	if op.Responses[code] == nil {
		op.Responses[code] = &huma.Response{Description: http.StatusText(status), Content: map[string]*huma.MediaType{
			"application/problem+json": {Schema: &huma.Schema{Ref: describe.SchemaPrefix + "ErrorModel"}},
		}}
	}
}

// describeEvents adds a schema for each kind of event, and one for any of them, which the
// lists of events refer to.
func describeEvents(schemas huma.Registry, kinds []describe.EventKind) {
	anyEvent := &huma.Schema{
		Description:   "An event of the journal; kind says which",
		Discriminator: &huma.Discriminator{PropertyName: "kind", Mapping: map[string]string{}},
	}
	maps.Copy(schemas.Map(), describe.Events(kinds))
	for _, k := range kinds {
		ref := &huma.Schema{Ref: describe.SchemaPrefix + k.SchemaName()}
		anyEvent.OneOf = append(anyEvent.OneOf, ref)
		anyEvent.Discriminator.Mapping[k.Kind] = ref.Ref
	}
	schemas.Map()["Event"] = anyEvent
	for _, list := range []string{"EventList", "History"} {
		schemas.Map()[list].Properties["events"].Items = &huma.Schema{Ref: describe.SchemaPrefix + "Event"}
	}
}

// streamSchema returns the schema of the stream of changes. As OpenAPI has no word for
// server-sent events, it is a list of them: each has the name of its event and, as data,
// the row.
func streamSchema(schemas huma.Registry) *huma.Schema {
	messages := &huma.Schema{}
	for _, row := range []struct {
		event string
		data  reflect.Type
	}{
		{airKind.event, reflect.TypeFor[view.Air]()}, {scaleKind.event, reflect.TypeFor[view.Scale]()},
		{batchKind.event, reflect.TypeFor[view.Batch]()}, {lightKind.event, reflect.TypeFor[view.Light]()},
		{alarmKind.event, reflect.TypeFor[view.Alarm]()}, {neighbourKind.event, reflect.TypeFor[neighbours.Bench]()},
	} {
		data := schemas.Schema(row.data, true, "")
		if row.event == batchKind.event || row.event == alarmKind.event {
			data = &huma.Schema{AnyOf: []*huma.Schema{data, schemas.Schema(reflect.TypeFor[over](), true, "")}}
		}
		data.Description = "the row"
		messages.OneOf = append(messages.OneOf, &huma.Schema{
			Type: huma.TypeObject, Title: row.event, Required: []string{"event", "data"},
			Properties: map[string]*huma.Schema{
				"event": {Type: huma.TypeString, Enum: []any{row.event}, Description: "name of the event"},
				"data":  data,
			},
		})
	}
	return &huma.Schema{
		Type: huma.TypeArray, Items: messages,
		Description: "Each object is one message, written as text by the rules of server-sent events.",
	}
}
