package web

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// typesFile declares to the pages' type checker what the API sends and takes.
const typesFile = "page/api.d.ts"

// TestPageTypesAreFresh: the types by which the pages are checked are those of the API's
// description. Words that explain a property are no part of them.
func TestPageTypesAreFresh(t *testing.T) {
	w := answerTo(newServer(t, newStand()).Handler(), fromHere("GET", "/openapi.json", ""))
	var description struct {
		Components struct{ Schemas map[string]schema }
	}
	if err := json.Unmarshal(w.Body.Bytes(), &description); err != nil {
		t.Fatal(err)
	}
	fresh := declarations(description.Components.Schemas)
	if *update {
		if err := os.WriteFile(typesFile, []byte(fresh), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(typesFile)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(kept), fresh); diff != "" {
		t.Errorf("%s is stale; go test ./daemon/web -run PageTypes -update writes it again:\n%s", typesFile, diff)
	}
}

// schema is as much of a JSON schema as the types are made from.
type schema struct {
	Ref        string `json:"$ref"`
	Type       any    // a name or a list of names
	Properties map[string]schema
	Required   []string
	Items      *schema
	AnyOf      []schema
	OneOf      []schema
	Enum       []any
	// Additional is the schema of the values of a map; also false, where there are no others.
	Additional json.RawMessage `json:"additionalProperties"`
}

// declarations writes schemas as TypeScript, in the order of their names.
func declarations(schemas map[string]schema) string {
	var out strings.Builder
	out.WriteString("// Code generated from the API's description by go test ./daemon/web -update. DO NOT EDIT.\n\ndeclare namespace API {\n")
	for i, name := range slices.Sorted(maps.Keys(schemas)) {
		if i > 0 {
			out.WriteString("\n")
		}
		s := schemas[name]
		if len(s.Properties) == 0 && len(s.AnyOf)+len(s.OneOf) > 0 {
			fmt.Fprintf(&out, "  type %s = %s;\n", name, s.typeScript())
			continue
		}
		fmt.Fprintf(&out, "  interface %s {\n", name)
		for _, property := range slices.Sorted(maps.Keys(s.Properties)) {
			optional := "?"
			if slices.Contains(s.Required, property) {
				optional = ""
			}
			fmt.Fprintf(&out, "    %s%s: %s;\n", property, optional, s.Properties[property].typeScript())
		}
		out.WriteString("  }\n")
	}
	out.WriteString("}\n")
	return out.String()
}

// typeScript returns the type that values of the schema have.
func (s schema) typeScript() string {
	switch {
	case s.Ref != "":
		return s.Ref[strings.LastIndex(s.Ref, "/")+1:]
	case len(s.AnyOf)+len(s.OneOf) > 0:
		var types []string
		for _, one := range append(s.AnyOf, s.OneOf...) {
			types = append(types, one.typeScript())
		}
		slices.Sort(types)
		return strings.Join(types, " | ")
	case len(s.Enum) > 0:
		var values []string
		for _, v := range s.Enum {
			text, _ := json.Marshal(v) // it came out of JSON
			values = append(values, string(text))
		}
		return strings.Join(values, " | ")
	}
	names, several := s.Type.([]any)
	if !several {
		names = []any{s.Type}
	}
	var types []string
	for _, name := range names {
		switch name {
		case "integer":
			types = append(types, "number")
		case "string", "number", "boolean", "null":
			types = append(types, name.(string))
		case "array":
			types = append(types, fmt.Sprintf("Array<%s>", s.Items.typeScript()))
		case "object":
			var values schema
			if json.Unmarshal(s.Additional, &values) == nil && values.Type != nil {
				types = append(types, fmt.Sprintf("Record<string, %s>", values.typeScript()))
				break
			}
			types = append(types, "unknown")
		default:
			types = append(types, "unknown")
		}
	}
	return strings.Join(types, " | ")
}
