package web

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/study"
	"potlifed/daemon/view"
)

// TestLists: a list is one array named like the path's last word, and seq.
func TestLists(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	rows := map[string]int{"air": 1, "scales": 1, "batches": 2, "presses": 2, "lights": 1, "alarms": 1, "sensors": 1, "inks": 1}
	for name, want := range rows {
		w := answerTo(h, fromHere("GET", "/api/v1/"+name, ""))
		if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "application/json" || w.Header().Get("Cache-Control") != "no-store" {
			t.Fatalf("%s: status %d, header %v", name, w.Code, w.Header())
		}
		v := object(t, w)
		list, _ := v[name].([]any)
		if len(list) != want || v["seq"] != 42.0 || len(v) != 2 {
			t.Errorf("%s: %v", name, v)
		}
	}
}

// TestEmptyLists: where there is nothing there is a list of nothing, not null.
func TestEmptyLists(t *testing.T) {
	s := newStand()
	s.now = &view.Snapshot{}
	h := newServer(t, s).Handler()
	for _, name := range []string{"air", "scales", "batches", "presses", "lights", "alarms", "sensors", "inks", "trends", "events"} {
		if body := answerTo(h, fromHere("GET", "/api/v1/"+name, "")).Body.String(); !strings.Contains(body, `"`+name+`":[]`) {
			t.Errorf("%s: %s", name, body)
		}
	}
}

func TestBatch(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	open := object(t, answerTo(h, fromHere("GET", "/api/v1/batches/0612-1", "")))
	if open["state"] != "open" || open["spent"] != 0.15 || open["step"] != nil || open["corrections"] == nil || open["warnings"] == nil {
		t.Errorf("open batch: %v", open)
	}
	mixing := object(t, answerTo(h, fromHere("GET", "/api/v1/batches/0612-2", "")))
	if mixing["step"] != "ink" || mixing["press"] != nil || mixing["mixed_at"] != nil || mixing["components"] == nil {
		t.Errorf("batch being mixed: %v", mixing)
	}
	if closed := object(t, answerTo(h, fromHere("GET", "/api/v1/batches/0611-7", ""))); closed["state"] != "closed" {
		t.Errorf("closed batch: %v", closed)
	}
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/batches/0612-99", "")), http.StatusNotFound)
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/batches/%00%ff", "")), http.StatusNotFound)
}

// TestLightsAreValidForAWhile: counted from the snapshot, so that a bench that stands
// still is noticed.
func TestLightsAreValidForAWhile(t *testing.T) {
	v := object(t, answerTo(newServer(t, newStand()).Handler(), fromHere("GET", "/api/v1/lights", "")))
	if got := v["lights"].([]any)[0].(map[string]any)["valid_until"]; got != "2026-06-12T09:31:30Z" {
		t.Errorf("valid until %v", got)
	}
}

func TestNoSuchPathOrMethod(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	for _, path := range []string{"/api/v1/spoons", "/api/v1/", "/api/", "/api/v2/air", "/api/v1/batches/0612-1/sell", "/openapi.json/x", "/nothing"} {
		w := answerTo(h, fromHere("GET", path, ""))
		if w.Code != http.StatusNotFound {
			t.Errorf("GET %s: status %d", path, w.Code)
		}
		if strings.HasPrefix(path, "/api/") {
			isProblem(t, w, http.StatusNotFound)
		}
	}
	allowed := map[string]string{
		"DELETE /api/v1/batches/0612-1": "GET, HEAD", "PUT /api/v1/batches": "GET, HEAD, POST", "GET /api/v1/batches/0612-1/load": "POST",
		"POST /api/v1/stream": "GET, HEAD", "POST /openapi.json": "GET, HEAD", "POST /asyncapi.json": "GET, HEAD", "POST /": "GET, HEAD", "DELETE /metrics": "GET, HEAD",
		"POST /healthz": "GET, HEAD", "OPTIONS /readyz": "GET, HEAD",
	}
	for what, allow := range allowed {
		method, path, _ := strings.Cut(what, " ")
		w := answerTo(h, fromHere(method, path, ""))
		isProblem(t, w, http.StatusMethodNotAllowed)
		if got := w.Header().Get("Allow"); got != allow {
			t.Errorf("%s: Allow %q, want %q", what, got, allow)
		}
	}
}

func TestUnknownQuery(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	for _, path := range []string{"air?zones=bench", "events?after=-1", "events?after=x", "events?after=1e99", "events?limit=0", "events?limit=5000"} {
		isProblem(t, answerTo(h, fromHere("GET", "/api/v1/"+path, "")), http.StatusUnprocessableEntity)
	}
}

// TestDescription: every path is described, no operation that does not exist is, and
// nothing of it points into the network.
func TestDescription(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	w := answerTo(h, fromHere("GET", "/openapi.json", ""))
	var d struct {
		OpenAPI string
		Paths   map[string]map[string]json.RawMessage

		Components map[string]any
	}
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	var got []string
	for path, operations := range d.Paths {
		for method := range operations {
			got = append(got, method+" "+strings.TrimPrefix(path, "/api/v1/"))
		}
	}
	slices.Sort(got)
	want := []string{
		"get air",
		"get alarms",
		"get batches",
		"get batches/{id}",
		"get batches/{id}/band",
		"get batches/{id}/history",
		"get batches/{id}/picture",
		"get batches/{id}/what-if",
		"get cans",
		"get cans/{id}/batches",
		"get events",
		"get history/air",
		"get history/batches",
		"get history/checks",
		"get history/defects",
		"get history/prints",
		"get history/sensors",
		"get inks",
		"get inks/{id}/learning",
		"get lights",
		"get lots/{lot}/batches",
		"get neighbours",
		"get pictures/air",
		"get pictures/checks",
		"get pictures/control",
		"get pictures/curve",
		"get pictures/health",
		"get pictures/kept",
		"get pictures/sensors",
		"get plan",
		"get presses",
		"get recipe",
		"get scales",
		"get sensors",
		"get sessions",
		"get storage",
		"get stream",
		"get study",
		"get study/chart",
		"get trends",
		"get waste",
		"post alarms/{name}/{subject}/acknowledge",
		"post alarms/{name}/{subject}/shelve",
		"post alarms/{name}/{subject}/unshelve",
		"post batches",
		"post batches/{id}/abandon",
		"post batches/{id}/close",
		"post batches/{id}/confirm",
		"post batches/{id}/correct",
		"post batches/{id}/flow-time",
		"post batches/{id}/good",
		"post batches/{id}/load",
		"post batches/{id}/move",
		"post batches/{id}/pour-over",
		"post batches/{id}/reweigh",
		"post batches/{id}/split",
		"post batches/{id}/take-up",
		"post batches/{id}/tests",
		"post batches/{id}/thin",
		"post batches/{id}/top-up",
		"post batches/{id}/undo",
		"post batches/{id}/unload",
		"post cans",
		"post cans/{id}/emptied",
		"post cans/{id}/opened",
		"post cans/{id}/stirred",
		"post configuration/reload",
		"post inks/{id}/accept-learned",
		"post inks/{id}/end-jars",
		"post inks/{id}/look-at-jar",
		"post inks/{id}/revoke-learned",
		"post inks/{id}/start-jars",
		"post presses/{id}/defects",
		"post presses/{id}/prints",
		"post scales/{id}/verifications",
		"post sensors/{id}/accept-correction",
		"post sensors/{id}/in-service",
		"post sensors/{id}/out-of-service",
		"post sensors/{id}/replaced",
		"post sensors/{id}/revoke-correction",
		"post sensors/{id}/verifications",
		"post session",
		"post sessions/{id}/unpair",
	}
	if !slices.Equal(got, want) {
		t.Errorf("operations:\n%s", strings.Join(got, "\n"))
	}
	if !strings.HasPrefix(d.OpenAPI, "3.1") {
		t.Errorf("OpenAPI %s", d.OpenAPI)
	}
	for _, row := range request.Table() {
		if !row.MQTT {
			continue // what is not taken as a command is made by the program, and has no fields
		}
		schema := dig(d.Components, "schemas", row.Type.Name())
		if schema == nil {
			t.Errorf("%s is not described", row.Type.Name())
		}
		for _, name := range row.About {
			if dig(schema, "properties", name) != nil {
				t.Errorf("%s is described with %s, which is in the path", row.Type.Name(), name)
			}
		}
	}
}

// TestAnswersMatchDescription checks real answers against the schemas that the
// description gives for them.
func TestAnswersMatchDescription(t *testing.T) {
	s := newStand()
	s.kept = []view.Event{{Seq: 1, JSON: []byte(`{"time":"2026-06-12T09:30:00Z","seq":1,"journal":"j1","bench":"bench-1","kind":"good","by":"anna","batch":"0612-1"}`)}}
	s.steps = someAir()
	server := withHistory(t, s, newServer(t, s))
	server.settings.Study = study.NewRunner(rejecting{}, time.UTC, time.Now)
	h := server.Handler()
	var d struct {
		Paths      map[string]map[string]any
		Components struct{ Schemas map[string]any }
	}
	if err := json.Unmarshal(answerTo(h, fromHere("GET", "/openapi.json", "")).Body.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	paths := map[string]string{"batches/{id}/history": "batches/0612-1/history", "cans/{id}/batches": "cans/ink-1/batches", "lots/{lot}/batches": "lots/A%2017/batches", "batches/{id}": "batches/0612-2", "batches/{id}/what-if": "batches/0612-1/what-if", "batches/{id}/band": "batches/0612-1/band", "inks/{id}/learning": "inks/dial-satin/learning", "recipe": "recipe?ink=dial-satin", "plan": "plan?ink=dial-satin&press=press-1&prints=1000&grams_per_print=0.2&prints_per_hour=300", "history/air": "history/air?zone=bench", "history/sensors": "history/sensors?sensor=bench-air", "study/chart": "study/chart?press=press-1", "pictures/control": "pictures/control?press=press-1", "batches/{id}/picture": "batches/0612-1/picture"}
	for path, operations := range d.Paths {
		name := strings.TrimPrefix(path, "/api/v1/")
		if operations["get"] == nil || name == "stream" {
			continue
		}
		real := name
		if p, ok := paths[name]; ok {
			real = p
		}
		response := answerTo(h, fromHere("GET", "/api/v1/"+real, ""))
		schema := dig(operations["get"], "responses", "200", "content", "application/json", "schema")
		if response.Code != http.StatusOK || schema == nil {
			t.Fatalf("%s: status %d, schema %v", name, response.Code, schema)
		}
		conforms(t, d.Components.Schemas, name, schema.(map[string]any), any(object(t, response)))
	}
}

// dig walks into nested objects.
func dig(v any, names ...string) any {
	for _, name := range names {
		m, _ := v.(map[string]any)
		v = m[name]
	}
	return v
}

// conforms is a small JSON Schema check for what the description uses of it.
func conforms(t *testing.T, schemas map[string]any, path string, schema map[string]any, v any) {
	t.Helper()
	if ref, ok := schema["$ref"].(string); ok {
		schema = schemas[strings.TrimPrefix(ref, "#/components/schemas/")].(map[string]any)
	}
	if choices, ok := schema["anyOf"].([]any); ok {
		if v != nil { // the other choice is null
			conforms(t, schemas, path, choices[0].(map[string]any), v)
		}
		return
	}
	if mapping, ok := dig(schema, "discriminator", "mapping").(map[string]any); ok {
		name, _ := dig(schema, "discriminator", "propertyName").(string)
		ref := mapping[fmt.Sprint(dig(v, name))]
		if ref == nil {
			t.Errorf("%s: no schema for %s %v", path, name, dig(v, name))
			return
		}
		conforms(t, schemas, path, map[string]any{"$ref": ref}, v)
		return
	}
	types := []any{schema["type"]}
	if list, ok := schema["type"].([]any); ok {
		types = list
	}
	var kind string
	switch v := v.(type) {
	case nil:
		kind = "null"
	case bool:
		kind = "boolean"
	case float64:
		kind = "number"
		if slices.Contains(types, any("integer")) && v == float64(int64(v)) {
			kind = "integer"
		}
	case string:
		kind = "string"
	case []any:
		kind = "array"
		items, _ := schema["items"].(map[string]any)
		for _, item := range v {
			conforms(t, schemas, path+"[]", items, item)
		}
	case map[string]any:
		kind = "object"
		properties, _ := schema["properties"].(map[string]any)
		required, _ := schema["required"].([]any)
		for _, name := range required {
			if _, ok := v[name.(string)]; !ok {
				t.Errorf("%s.%s is required and missing", path, name)
			}
		}
		for _, name := range slices.Sorted(maps.Keys(v)) {
			if p, ok := properties[name].(map[string]any); ok {
				conforms(t, schemas, path+"."+name, p, v[name])
			} else if properties != nil {
				t.Errorf("%s.%s is not described", path, name)
			}
		}
	}
	if schema["type"] != nil && !slices.Contains(types, any(kind)) {
		t.Errorf("%s is of type %s, described as %v", path, kind, types)
	}
}

// TestStrictNames: what the registered schemas know decides; a name in other letters
// is another name.
func TestStrictNames(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	for _, body := range []string{
		`{"step":"ink","STEP":"cup"}`, `{"Step":"ink"}`, `{"step":"ink","batch":"0612-9"}`, `{"step":"ink","step":"cup"}`, `{"step":"ink","more":1}`,
	} {
		isProblem(t, answerTo(h, fromHere("POST", "/api/v1/batches/0612-2/confirm", body)), http.StatusUnprocessableEntity)
	}
}
