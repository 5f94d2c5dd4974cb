package web

import (
	"encoding/json"
	"maps"
	"slices"
	"testing"
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
	for _, name := range slices.Sorted(maps.Keys(schemas)) {
		properties, _ := dig(schemas[name], "properties").(map[string]any)
		for _, p := range slices.Sorted(maps.Keys(properties)) {
			if text, _ := dig(properties[p], "description").(string); text == "" {
				t.Errorf("%s.%s has no description", name, p)
			}
		}
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
