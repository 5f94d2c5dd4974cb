package reference

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"text/template"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/daemon/config"
	"potlifed/daemon/metrics"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/alarm"
	"potlifed/model/light"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

var update = flag.Bool("update", false, "rewrite reference.md")

// TestReferenceIsFresh: reference.md is what the template and the tables say.
func TestReferenceIsFresh(t *testing.T) {
	want := generate(t)
	const name = "reference.md"
	if *update {
		if err := os.WriteFile(name, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, string(got)); d != "" {
		t.Errorf("%s is stale; run go test ./daemon/reference -update and read the difference:\n%.2000s", name, d)
	}
}

// row is a row of a table of fields.
type row struct {
	Name     string
	Required bool
	Type     string
	Meaning  string
}

type structure struct {
	Name   string
	Fields []row
}

type changeText struct {
	request.Row
	Fields []row
}

type eventText struct {
	Kind, Meaning string
	Fields        []row
}

type lightText struct {
	Meaning, Colour, When string
	Flashes               bool
}

// content is what the template shows.
type content struct {
	Sample     string
	Keys       []keyText
	Rights     []struct{ Right, Verbs string }
	Changes    []changeText
	Topics     []topicText
	EventHead  []row
	Events     []eventText
	Structures []structure
	Lights     []lightText
	Alarms     []alarmText
	Metrics    []metricText
	CoarsePct  string
}

// alarmText is an alarm with its description in English.
type alarmText struct {
	alarm.Definition
	words.Alarm
}

type keyText struct{ Path, Value, Default string }

type metricText struct{ Name, Kind, Labels, Help string }

// generate returns the reference as the template and the tables say.
func generate(t *testing.T) string {
	t.Helper()
	sample, err := os.ReadFile(filepath.Join("..", "..", "testdata", "potlifed.example.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	c := content{Sample: string(sample), Topics: topicTexts()}
	for _, d := range alarm.Definitions() {
		c.Alarms = append(c.Alarms, alarmText{d, words.Locale{}.Alarm(d.Name)})
	}
	for _, k := range config.Keys() {
		text := keyText{k.Path, k.Value, "–"}
		switch {
		case k.Required:
			text.Default = "required"
		case k.Default != "":
			text.Default = "`" + k.Default + "`"
		}
		c.Keys = append(c.Keys, text)
	}
	for _, right := range request.Rights() {
		var verbs []string
		for _, r := range request.Table() {
			if r.Right == right {
				verbs = append(verbs, "`"+r.Verb+"`")
			}
		}
		c.Rights = append(c.Rights, struct{ Right, Verbs string }{string(right), strings.Join(verbs, ", ")})
	}
	fields := fieldsOf{}
	for _, r := range request.Table() {
		change := changeText{Row: r}
		if hasNames(r.Type) { // else it is made by the program, and has no fields of its own
			change.Fields = flat(&fields, r.Type, "", r.Required())
		}
		c.Changes = append(c.Changes, change)
	}
	c.EventHead = eventHead()
	events := fieldsOf{published: true}
	for _, kind := range record.Kinds() {
		if kind.IsEvent() {
			meaning, body := kind.Meaning()
			c.Events = append(c.Events, eventText{string(kind), meaning, events.of(body, nil)})
		}
	}
	for i := 0; i < len(events.seen); i++ { // the list grows while structures are described
		c.Structures = append(c.Structures, structure{events.seen[i].Name(), events.of(events.seen[i], nil)})
	}
	slices.SortFunc(c.Structures, func(a, b structure) int { return strings.Compare(a.Name, b.Name) })
	for _, m := range light.Meanings() {
		c.Lights = append(c.Lights, lightText{string(m), m.Colour(), m.When(), m.AlwaysFlashes()})
	}
	for _, s := range metrics.List() {
		c.Metrics = append(c.Metrics, metricText{s.Name, s.Kind, strings.Join(s.Labels, ", "), s.Help})
	}
	c.CoarsePct = coarse()
	var out strings.Builder
	tmpl := template.Must(template.ParseFiles("reference.tmpl"))
	if err := tmpl.Execute(&out, c); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// coarse returns how well a scale of 1 g knows the ratio of an 8:1 mix on 40 g of ink, in %.
func coarse() string {
	scale := mix.Weighing{ReadingUncertaintyG: weigh.StandardUncertainty(1)}
	return fmt.Sprintf("%.1f", scale.Uncertainty(mix.Targets(40, 8, 0)).RatioPct)
}

// eventHead returns the fields that every event has.
func eventHead() []row {
	return []row{
		{"time", true, "time", "when it happened, in bench time"},
		{"seq", true, "whole number", "number of the event, without gaps from 1"},
		{"bench", true, "text", "name of the bench; the present one, also for events from before it was renamed"},
		{"journal", true, "text", "id of the journal; another id means that events are numbered from 1 again"},
		{"kind", true, "text", "kind of the event"},
		{"by", true, "text", "person, device or program that caused it; `bench` for the service itself"},
	}
}

// fieldsOf describes structures by their JSON names and doc tags. Published names are those
// of events; seen collects the structures that fields refer to.
type fieldsOf struct {
	published bool
	seen      []reflect.Type
}

// of returns the rows of a structure's fields. required are the names that may not be left
// out; nil for what the tags say.
func (f *fieldsOf) of(t reflect.Type, required []string) (rows []row) {
	for i := range t.NumField() {
		field := t.Field(i)
		name, options, _ := strings.Cut(field.Tag.Get("json"), ",")
		switch {
		case field.Anonymous && name == "":
			rows = append(rows, f.of(field.Type, required)...)
			continue
		case name == "-" || !field.IsExported():
			continue
		case name == "":
			name = field.Name
		}
		r := row{Name: name, Type: f.typeOf(field), Meaning: phrase(field.Tag.Get("doc"))}
		r.Required = !strings.Contains(options, "omit")
		if required != nil {
			r.Required = slices.Contains(required, name)
		}
		if f.published {
			if strings.HasSuffix(name, "_ns") {
				r.Type, r.Meaning = "number", r.Meaning+", in s"
			}
			r.Name = view.PublishedName(name)
		}
		rows = append(rows, r)
	}
	return rows
}

// phrase returns a text as it is written in a table: a first sentence with a small letter
// and the last without a full stop.
func phrase(text string) string {
	text = strings.TrimSuffix(text, ".")
	if len(text) > 1 && 'A' <= text[0] && text[0] <= 'Z' && 'a' <= text[1] && text[1] <= 'z' {
		text = strings.ToLower(text[:1]) + text[1:]
	}
	return text
}

// typeOf returns the type of a field in words, with the limits that its tags give.
func (f *fieldsOf) typeOf(field reflect.StructField) string {
	words := f.word(field.Type)
	if enum := field.Tag.Get("enum"); enum != "" {
		words = "`" + strings.ReplaceAll(enum, ",", "`, `") + "`"
	}
	low, high := field.Tag.Get("minimum"), field.Tag.Get("maximum")
	switch {
	case low != "" && high != "":
		words += " from " + low + " to " + high
	case low != "":
		words += " of at least " + low
	}
	if most := field.Tag.Get("maxLength"); most != "" {
		words += " of at most " + most + " characters"
	}
	return words
}

func (f *fieldsOf) word(t reflect.Type) string {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return "time"
	case t == reflect.TypeFor[mix.Ratio]():
		return "text"
	}
	switch t.Kind() {
	case reflect.Pointer:
		return f.word(t.Elem())
	case reflect.String:
		return "text"
	case reflect.Bool:
		return "true or false"
	case reflect.Float64:
		return "number"
	case reflect.Slice, reflect.Array:
		if t.Elem().Kind() == reflect.Uint8 {
			return "object"
		}
		return "list: " + f.word(t.Elem())
	case reflect.Map:
		return "object: " + f.word(t.Elem()) + " by " + f.word(t.Key())
	case reflect.Struct:
		if !slices.Contains(f.seen, t) {
			f.seen = append(f.seen, t)
		}
		return t.Name()
	}
	return "whole number"
}

// hasNames reports whether a structure has JSON names, and so is read from a request.
func hasNames(t reflect.Type) bool {
	for i := range t.NumField() {
		if t.Field(i).Tag.Get("json") != "" {
			return true
		}
	}
	return false
}
