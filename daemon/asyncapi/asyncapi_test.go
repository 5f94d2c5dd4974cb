package asyncapi

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"potlifed/daemon/describe"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// kinds returns the kinds of events, as the daemon has them described.
func kinds() []describe.EventKind {
	var all []describe.EventKind
	for _, kind := range record.Kinds() {
		if kind.IsEvent() {
			meaning, body := kind.Meaning()
			all = append(all, describe.EventKind{Kind: string(kind), Meaning: meaning, Body: body})
		}
	}
	return all
}

// read is the document as a client reads it.
type read struct {
	t   *testing.T
	all map[string]any
}

func newDocument(t *testing.T) read {
	t.Helper()
	b, err := Document("0.1.0", kinds())
	if err != nil {
		t.Fatal(err)
	}
	r := read{t: t}
	if err := json.Unmarshal(b, &r.all); err != nil {
		t.Fatal(err)
	}
	return r
}

// at returns what is at a path of keys, which must be there.
func (r read) at(keys ...string) any {
	r.t.Helper()
	var v any = r.all
	for _, key := range keys {
		o, _ := v.(map[string]any)
		if v = o[key]; v == nil {
			r.t.Fatalf("there is no %s in %s", key, strings.Join(keys, "/"))
		}
	}
	return v
}

func (r read) object(keys ...string) map[string]any {
	r.t.Helper()
	return r.at(keys...).(map[string]any)
}

// resolve follows references.
func (r read) resolve(v any) map[string]any {
	r.t.Helper()
	for {
		o, _ := v.(map[string]any)
		ref, is := o["$ref"].(string)
		if !is {
			return o
		}
		v = r.at(strings.Split(strings.TrimPrefix(ref, "#/"), "/")...)
	}
}

// fields calls each for every property of a schema that has none of its own, by its path, as
// the list of names on the wire has it.
func (r read) fields(schema any, path string, each func(string)) {
	s := r.resolve(schema)
	if any, is := s["anyOf"].([]any); is {
		s = r.resolve(any[0])
	}
	if items := s["items"]; items != nil {
		r.fields(items, path+"[]", each)
		return
	}
	if values, is := s["additionalProperties"].(map[string]any); is {
		r.fields(values, path+".*", each)
		return
	}
	properties, _ := s["properties"].(map[string]any)
	if len(properties) == 0 {
		each(path)
	}
	for name, property := range properties {
		r.fields(property, strings.TrimPrefix(path+"."+name, "."), each)
	}
}

// TestNamesAreThoseOnTheWire: the document has every topic and every field that is on the wire,
// and no other.
func TestNamesAreThoseOnTheWire(t *testing.T) {
	r := newDocument(t)
	names := strings.NewReplacer("{prefix}", "PREFIX", "{bench}", "BENCH", "{zone}", "ZONE", "{id}", "ID",
		"{alarm}", "NAME", "{subject}", "SUBJECT", "{verb}", "VERB",
		"{discovery}", "DISCOVERY", "{component}", "COMPONENT", "{node}", "NODE", "{object}", "OBJECT")
	var got []string
	for id := range r.object("channels") {
		topic := names.Replace(r.at("channels", id, "address").(string))
		for name := range r.object("channels", id, "messages") {
			payload := r.resolve(r.at("channels", id, "messages", name))["payload"]
			s := r.resolve(payload)
			switch {
			case name == "Ended":
			case id == "event" || s["type"] == "string":
				got = append(got, topic)
			default:
				r.fields(payload, "", func(path string) { got = append(got, topic+" "+path) })
			}
		}
	}
	slices.Sort(got)
	got = slices.Compact(got)
	golden, err := os.ReadFile("../../testdata/wire/mqtt.golden")
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for line := range strings.Lines(string(golden)) {
		topic, _, _ := strings.Cut(strings.TrimSpace(line), " = ")
		want = append(want, topic)
	}
	for _, line := range want {
		if !slices.Contains(got, line) {
			t.Errorf("on the wire and not in the document: %s", line)
		}
	}
	for _, line := range got {
		if !slices.Contains(want, line) {
			t.Errorf("in the document and not on the wire: %s", line)
		}
	}
	if len(want) < 200 {
		t.Errorf("only %d names on the wire", len(want))
	}
}

// TestEverythingIsDescribed: every property of every payload, every parameter and every channel
// has a description.
func TestEverythingIsDescribed(t *testing.T) {
	r := newDocument(t)
	n := 0
	var look func(v any, path string)
	look = func(v any, path string) {
		switch v := v.(type) {
		case map[string]any:
			properties, _ := v["properties"].(map[string]any)
			for name, p := range properties {
				n++
				if text, _ := p.(map[string]any)["description"].(string); text == "" {
					t.Errorf("%s: property %s has no description", path, name)
				}
			}
			for name, inner := range v {
				look(inner, path+"/"+name)
			}
		case []any:
			for _, inner := range v {
				look(inner, path)
			}
		}
	}
	look(r.at("components"), "components")
	if n < 300 {
		t.Errorf("only %d properties", n)
	}
	for id := range r.object("channels") {
		if text, _ := r.at("channels", id, "description").(string); text == "" {
			t.Errorf("channel %s has no description", id)
		}
		for name := range r.object("channels", id, "parameters") {
			if text, _ := r.at("channels", id, "parameters", name, "description").(string); text == "" {
				t.Errorf("channel %s: parameter %s has no description", id, name)
			}
		}
	}
}

// TestReferencesExist: every reference leads somewhere.
func TestReferencesExist(t *testing.T) {
	r := newDocument(t)
	n := 0
	var look func(v any)
	look = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			if _, is := v["$ref"]; is {
				n++
				r.resolve(v)
			}
			for _, inner := range v {
				look(inner)
			}
		case []any:
			for _, inner := range v {
				look(inner)
			}
		}
	}
	look(r.all)
	if n < 100 {
		t.Errorf("only %d references", n)
	}
}

// TestPayloadsFitTheirSchemas: the payloads that a golden pins, and a batch before its hardener,
// have the types and the required properties of the document.
func TestPayloadsFitTheirSchemas(t *testing.T) {
	r := newDocument(t)
	golden, err := os.ReadFile("../mqtt/testdata/payloads.golden")
	if err != nil {
		t.Fatal(err)
	}
	topic, n := "", 0
	for line := range strings.Lines(string(golden)) {
		payload, indented := strings.CutPrefix(strings.TrimSpace(line), "{")
		if !indented {
			topic, _, _ = strings.Cut(strings.TrimSpace(line), " ")
			continue
		}
		kind := strings.Split(strings.TrimPrefix(topic, "potlife/bench-1/"), "/")[0]
		if topic == "will" {
			kind = "light"
		}
		n++
		r.fits(t, kind, "{"+payload)
	}
	if n < 10 {
		t.Errorf("only %d payloads", n)
	}
	b, err := json.Marshal(view.BatchState{ID: "0612-1"})
	if err != nil {
		t.Fatal(err)
	}
	r.fits(t, "batch", string(b))
}

// fits checks a payload against the schema of a channel's message.
func (r read) fits(t *testing.T, channel, payload string) {
	t.Helper()
	var v any
	if err := json.Unmarshal([]byte(payload), &v); err != nil {
		t.Fatal(err)
	}
	for name, message := range r.object("channels", channel, "messages") {
		if name == "Ended" {
			continue
		}
		if why := r.differs(r.resolve(message)["payload"], v, ""); why != "" {
			t.Errorf("%s: %s: %s", channel, why, payload)
		}
	}
}

// differs returns where a value is not as its schema says in type and properties, empty where it
// is.
func (r read) differs(schema, v any, path string) string {
	s := r.resolve(schema)
	if some, is := s["anyOf"].([]any); is {
		why := ""
		for _, one := range some {
			if why = r.differs(one, v, path); why == "" {
				return ""
			}
		}
		return why
	}
	types, _ := s["type"].([]any)
	if one, is := s["type"].(string); is {
		types = []any{one}
	}
	is := map[bool]string{true: "boolean"}[v == true || v == false]
	switch v := v.(type) {
	case nil:
		is = "null"
	case string:
		is = "string"
	case float64:
		if is = "number"; slices.Contains(types, any("integer")) && v == math.Trunc(v) {
			is = "integer"
		}
	case []any:
		is = "array"
	case map[string]any:
		is = "object"
	}
	if len(types) > 0 && !slices.Contains(types, any(is)) {
		return path + " is of type " + is
	}
	if list, ok := v.([]any); ok {
		for _, item := range list {
			if why := r.differs(s["items"], item, path+"[]"); why != "" {
				return why
			}
		}
	}
	object, ok := v.(map[string]any)
	properties, described := s["properties"].(map[string]any)
	if !ok || !described {
		return ""
	}
	required, _ := s["required"].([]any)
	for _, name := range required {
		if _, there := object[name.(string)]; !there {
			return path + " has no " + name.(string)
		}
	}
	for name, value := range object {
		if properties[name] == nil {
			return path + "." + name + " is not described"
		}
		if why := r.differs(properties[name], value, path+"."+name); why != "" {
			return why
		}
	}
	return ""
}

// TestOperations: the bench sends states, events and answers, and receives each command that
// may be given over MQTT, which it answers.
func TestOperations(t *testing.T) {
	r := newDocument(t)
	for id := range r.object("operations") {
		command := strings.HasPrefix(id, "carry-out-")
		if action := r.at("operations", id, "action"); command != (action == "receive") || !command && action != "send" {
			t.Errorf("%s: action %v", id, action)
		}
		if command {
			r.at("operations", id, "reply")
		}
	}
	for _, row := range request.Table() {
		_, described := r.object("operations")["carry-out-"+row.Verb]
		if described != row.MQTT {
			t.Errorf("%s: described %v, taken over MQTT %v", row.Verb, described, row.MQTT)
		}
		if !row.MQTT {
			continue
		}
		payload := r.object("components", "messages", "Command-"+row.Verb, "payload")
		if payload["additionalProperties"] != false {
			t.Errorf("%s: unknown fields are allowed, and the bench refuses them", row.Verb)
		}
		required := payload["required"].([]any)
		for _, field := range append(row.Required(), "ref", "at") {
			if !slices.Contains(required, any(field)) {
				t.Errorf("%s: %s is not required", row.Verb, field)
			}
		}
	}
}

// TestEveryKindOfEvent: each is a message of the events' channel.
func TestEveryKindOfEvent(t *testing.T) {
	r := newDocument(t)
	messages := r.object("channels", "event", "messages")
	for _, k := range kinds() {
		schema := r.resolve(r.resolve(messages[k.SchemaName()])["payload"])
		properties, _ := schema["properties"].(map[string]any)
		kind, _ := properties["kind"].(map[string]any)
		if words, _ := kind["enum"].([]any); !slices.Equal(words, []any{k.Kind}) {
			t.Errorf("%s: kind %v", k.Kind, kind)
		}
	}
	if len(messages) != len(kinds()) {
		t.Errorf("%d messages, %d kinds of events", len(messages), len(kinds()))
	}
}

// TestDocumentForLinters writes the document where -artifacts keeps it: the linter of .ci/run
// reads it there.
func TestDocumentForLinters(t *testing.T) {
	b, err := Document("0.1.0", kinds())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(t.ArtifactDir(), "asyncapi.json"), b, 0o644); err != nil {
		t.Fatal(err)
	}
}
