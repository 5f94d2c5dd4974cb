package web

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"

	"potlifed/daemon/wiretest"
)

var update = flag.Bool("update", false, "rewrite the list of names on the wire")

// TestNamesOfHTTP pins every operation of the API with its parameters and with what it
// takes and answers, every field of the structures that it takes and answers, and the
// events of the stream. The names of the structures are those of the description.
func TestNamesOfHTTP(t *testing.T) {
	d := description(t)
	var lines []string
	for path, operations := range d["paths"].(map[string]any) {
		for method, operation := range operations.(map[string]any) {
			name := strings.ToUpper(method) + " " + path
			lines = append(lines, name)
			parameters, _ := dig(operation, "parameters").([]any)
			for _, p := range parameters {
				lines = append(lines, name+" "+dig(p, "in").(string)+" "+dig(p, "name").(string))
			}
			for _, structure := range structuresOf(dig(operation, "requestBody")) {
				lines = append(lines, name+" takes "+structure)
			}
			responses, _ := dig(operation, "responses").(map[string]any)
			for status, response := range responses {
				if status[0] != '2' { // a refusal, always an ErrorModel
					continue
				}
				for _, structure := range structuresOf(response) {
					lines = append(lines, name+" answers "+status+" "+structure)
				}
			}
		}
	}
	for name, schema := range dig(d, "components", "schemas").(map[string]any) {
		if strings.HasPrefix(name, "Event") && name != "EventList" { // events have a list of their own
			continue
		}
		fields(schema, name, func(line string) { lines = append(lines, line) })
	}
	for _, event := range []string{airKind.event, scaleKind.event, batchKind.event, lightKind.event, alarmKind.event, neighbourKind.event} {
		lines = append(lines, "stream event "+event)
	}
	slices.Sort(lines)
	wiretest.Golden(t, "../..", "http.golden", *update, slices.Compact(lines))
}

// structuresOf lists the media types of a body, each with the structure that it has.
func structuresOf(body any) []string {
	content, _ := dig(body, "content").(map[string]any)
	var all []string
	for media, v := range content {
		all = append(all, media+" "+structureOf(dig(v, "schema")))
	}
	return all
}

func structureOf(schema any) string {
	if ref, is := dig(schema, "$ref").(string); is {
		return ref[strings.LastIndex(ref, "/")+1:]
	}
	if items := dig(schema, "items"); items != nil {
		return structureOf(items) + "[]"
	}
	for _, of := range []string{"oneOf", "anyOf", "allOf"} {
		if list, is := dig(schema, of).([]any); is {
			var all []string
			for _, s := range list {
				all = append(all, structureOf(s))
			}
			return strings.Join(all, "|")
		}
	}
	if dig(schema, "properties") != nil {
		return "an object"
	}
	if kinds, is := dig(schema, "type").([]any); is {
		return strings.ReplaceAll(strings.TrimSpace(fmt.Sprintln(kinds...)), " ", "|")
	}
	kind, _ := dig(schema, "type").(string)
	return kind
}

// fields lists the properties of a schema, those of structures inside it as well.
func fields(schema any, path string, each func(string)) {
	for _, of := range []string{"oneOf", "anyOf", "allOf"} {
		list, _ := dig(schema, of).([]any)
		for _, s := range list {
			fields(s, path, each)
		}
	}
	if items := dig(schema, "items"); items != nil {
		fields(items, path+"[]", each)
	}
	properties, _ := dig(schema, "properties").(map[string]any)
	for name, p := range properties {
		if name == "$schema" {
			continue
		}
		each(path + "." + name + " " + structureOf(p))
		fields(p, path+"."+name, each)
	}
}
