package web

import (
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
)

// description returns /openapi.json as a client reads it.
func description(t *testing.T) map[string]any {
	t.Helper()
	w := answerTo(newServer(t, newStand()).Handler(), fromHere("GET", "/openapi.json", ""))
	var d map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	return d
}

// TestEverythingIsDescribed: no property of a schema and no parameter goes without a
// description.
func TestEverythingIsDescribed(t *testing.T) {
	d := description(t)
	schemas, _ := dig(d, "components", "schemas").(map[string]any)
	if len(schemas) < 50 {
		t.Fatalf("only %d schemas", len(schemas))
	}
	checked := propertiesAreDescribed(t, "", d)
	if checked < 800 {
		t.Errorf("only %d properties were found", checked)
	}
	for path, operations := range d["paths"].(map[string]any) {
		for method, operation := range operations.(map[string]any) {
			parameters, _ := dig(operation, "parameters").([]any)
			for _, p := range parameters {
				if text, _ := dig(p, "description").(string); text == "" {
					t.Errorf("%s %s: parameter %v has no description", method, path, dig(p, "name"))
				}
			}
		}
	}
}

// propertiesAreDescribed looks for schemas anywhere in a part of the description. It returns
// how many properties they have.
func propertiesAreDescribed(t *testing.T, path string, part any) (count int) {
	switch part := part.(type) {
	case []any:
		for _, v := range part {
			count += propertiesAreDescribed(t, path+"[]", v)
		}
	case map[string]any:
		for _, key := range slices.Sorted(maps.Keys(part)) {
			properties, ok := part[key].(map[string]any)
			if key != "properties" || !ok {
				count += propertiesAreDescribed(t, path+"/"+key, part[key])
				continue
			}
			for name, p := range properties {
				count++
				if text, _ := dig(p, "description").(string); text == "" {
					t.Errorf("%s: property %s has no description", path, name)
				}
				count += propertiesAreDescribed(t, path+"/"+name, p)
			}
		}
	}
	return count
}

// TestOperationsAreComplete: each has a tag that is explained, says which security it
// takes, and names a refusal.
func TestOperationsAreComplete(t *testing.T) {
	d := description(t)
	explained := map[string]bool{}
	for _, tag := range d["tags"].([]any) {
		explained[dig(tag, "name").(string)] = dig(tag, "description") != ""
	}
	ids := map[string]string{}
	for path, operations := range d["paths"].(map[string]any) {
		for method, operation := range operations.(map[string]any) {
			name := method + " " + path
			id, _ := dig(operation, "operationId").(string)
			if id == "" || ids[id] != "" {
				t.Errorf("%s: operationId %q, as %s", name, id, ids[id])
			}
			ids[id] = name
			if tags, _ := dig(operation, "tags").([]any); len(tags) != 1 || !explained[tags[0].(string)] {
				t.Errorf("%s: tags %v", name, tags)
			}
			security, given := dig(operation, "security").([]any)
			open := method == "get" || path == sessionPath
			if !given || open != (len(security) == 0) {
				t.Errorf("%s: security %v", name, dig(operation, "security"))
			}
			refusals := 0
			for status := range dig(operation, "responses").(map[string]any) {
				if status[0] == '4' {
					refusals++
				}
			}
			if refusals == 0 {
				t.Errorf("%s: no refusal is described", name)
			}
		}
	}
}

// TestStreamIsTyped: the stream's description has each of its events with the row that is
// its data.
func TestStreamIsTyped(t *testing.T) {
	schema := dig(description(t), "paths", "/api/v1/stream", "get", "responses", "200", "content", "text/event-stream", "schema")
	messages, _ := dig(schema, "items", "oneOf").([]any)
	var events []string
	for _, m := range messages {
		names, _ := dig(m, "properties", "event", "enum").([]any)
		if dig(m, "properties", "data") == nil || len(names) != 1 {
			t.Fatalf("message %v", m)
		}
		events = append(events, names[0].(string))
	}
	if want := []string{"air", "scale", "batch", "light", "alarm", "neighbour"}; !slices.Equal(events, want) {
		t.Errorf("events %v, want %v", events, want)
	}
}

// TestDescriptionForLinters leaves the description where -artifacts keeps it: the linters
// of .ci/run read it there.
func TestDescriptionForLinters(t *testing.T) {
	w := answerTo(newServer(t, newStand()).Handler(), fromHere("GET", "/openapi.json", ""))
	if err := os.WriteFile(filepath.Join(t.ArtifactDir(), "openapi.json"), w.Body.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestTopicsAreDescribed: /asyncapi.json is served, with a message for each kind of event.
func TestTopicsAreDescribed(t *testing.T) {
	w := answerTo(newServer(t, newStand()).Handler(), fromHere("GET", "/asyncapi.json", ""))
	var d map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil {
		t.Fatalf("%d: %v", w.Code, err)
	}
	messages, _ := dig(d, "channels", "event", "messages").(map[string]any)
	if d["asyncapi"] != "3.0.0" || len(messages) != len(everyKind()) {
		t.Errorf("AsyncAPI %v, %d kinds of events", d["asyncapi"], len(messages))
	}
	if is := w.Header().Get("Content-Type"); is != "application/vnd.aai.asyncapi+json;version=3.0.0" {
		t.Errorf("content type %q", is)
	}
}

// TestEventsMatchDescription publishes an event of each kind, with every field filled and
// with none, and checks it against the schema of its kind.
func TestEventsMatchDescription(t *testing.T) {
	schemas := dig(description(t), "components", "schemas").(map[string]any)
	kinds := everyKind()
	if len(kinds) < 40 {
		t.Fatalf("only %d kinds", len(kinds))
	}
	for _, k := range kinds {
		if !strings.HasSuffix(k.Meaning, ".") {
			t.Errorf("%s: meaning %q", k.Kind, k.Meaning)
		}
		for _, full := range []bool{false, true} {
			body := reflect.New(k.Body).Elem()
			if full {
				fillAll(body)
			} else if alarms := body.FieldByName("Alarms"); alarms.IsValid() && alarms.Kind() == reflect.Map {
				alarms.Set(reflect.MakeMap(alarms.Type())) // the bench always makes one
			}
			stored, err := json.Marshal(body.Interface())
			if err != nil && !full {
				continue // a mix has to have a ratio
			}
			if err != nil {
				t.Fatalf("%s: %v", k.Kind, err)
			}
			event, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Date(2026, 6, 12, 9, 30, 0, 0, time.UTC), k.Kind, "anna", stored)
			if err != nil {
				t.Fatalf("%s: %v", k.Kind, err)
			}
			var v any
			if err := json.Unmarshal(event.JSON, &v); err != nil {
				t.Fatal(err)
			}
			conforms(t, schemas, k.Kind, schemas["Event"].(map[string]any), v)
		}
	}
}

// fillAll sets every field of a value, down to the last, to something that is not zero.
func fillAll(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString("x")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(1_500_000_000)
	case reflect.Uint64:
		v.SetUint(3)
	case reflect.Float64:
		v.SetFloat(0.5)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fillAll(v.Elem())
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fillAll(v.Index(0))
	case reflect.Map:
		key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
		fillAll(key)
		fillAll(value)
		v.Set(reflect.MakeMap(v.Type()))
		v.SetMapIndex(key, value)
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			v.Set(reflect.ValueOf(time.Date(2026, 6, 12, 9, 0, 0, 0, time.UTC)))
			return
		}
		for i := range v.NumField() {
			fillAll(v.Field(i))
		}
	}
}
