package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// TestEveryOperationTakesAnything makes requests for each operation of the OpenAPI document, by its
// schemas and against them, to the real program. No answer is a server's fault, each status is one
// that the document names, and neither descriptors nor memory grow.
func TestEveryOperationTakesAnything(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	p := start(t, b.configuration(t, ""))
	rounds := 40
	if os.Getenv("POTLIFED_LONG") != "" {
		rounds = 200
	}
	var doc document
	p.get("/openapi.json", &doc)
	if len(doc.Paths) < 60 {
		t.Fatalf("only %d paths in the document", len(doc.Paths))
	}
	f := &requests{doc: doc, random: rand.New(rand.NewPCG(13, 16)), known: []string{"press-1", "bench-air", "scale-1", "bench", "dial-satin", "cup-110", "no-such"}}
	f.named = map[string]string{"ink": "dial-satin", "scale": "scale-1", "press": "press-1", "cup": "cup-110", "zone": "bench", "artwork": "normal", "colour_class": "dark", "part": "ink"}
	recorded, wrong := p.post("batches", map[string]any{
		"ink": "dial-satin", "mixed_at": time.Now().UTC().Format(time.RFC3339Nano), "cup": "cup-110",
		"components": []map[string]any{{"part": "ink", "g": 85}, {"part": "hardener", "g": 17}},
	})
	if wrong != nil {
		t.Fatalf("%+v", wrong)
	}
	f.known = append(f.known, recorded.ID, recorded.ID, recorded.ID)
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 4}}
	defer client.CloseIdleConnections()
	descriptors, statuses, sent, half := p.descriptors(), map[int]int{}, 0, 0
	for round := range rounds {
		for _, path := range slices.Sorted(maps.Keys(doc.Paths)) {
			for _, method := range slices.Sorted(maps.Keys(doc.Paths[path])) {
				statuses[f.one(t, client, p, method, path)]++
				sent++
			}
		}
		if round == rounds/2 {
			half = p.residentKB()
		}
	}
	t.Logf("%d requests, statuses %v, resident %d kB, at half time %d kB", sent, statuses, p.residentKB(), half)
	if statuses[200] < sent/10 || statuses[201] == 0 || statuses[422] < sent/20 {
		t.Errorf("the requests are too far from the schemas, or not far enough: %v", statuses)
	}
	client.CloseIdleConnections()
	if runtime.GOOS == "linux" {
		p.eventually("the descriptors to be closed", func() (bool, any) { n := p.descriptors(); return n <= descriptors+8, n })
		if now := p.residentKB(); now > half+32<<10 {
			t.Errorf("resident memory grows: %d kB, at half time %d kB", now, half)
		}
	}
	if at, line, _ := p.log.find(0, has("panic")); at >= 0 {
		t.Errorf("the log has %s", line)
	}
	p.stop()
}

// descriptors returns how many descriptors the program has open; 0 where that is not known.
func (p *program) descriptors() int {
	entries, _ := os.ReadDir(filepath.Join("/proc", strconv.Itoa(p.cmd.Process.Pid), "fd"))
	return len(entries)
}

// document is what is used of an OpenAPI document.
type document struct {
	Paths      map[string]map[string]operation
	Components struct{ Schemas map[string]schema }
}

type operation struct {
	Parameters []struct {
		Name, In string
		Required bool
		Schema   schema
	}
	RequestBody struct {
		Content map[string]struct{ Schema schema }
	}
	Responses map[string]any
}

type schema struct {
	Ref        string            `json:"$ref"`
	Type       any               `json:"type"` // a name, or names
	Format     string            `json:"format"`
	Enum       []any             `json:"enum"`
	Minimum    *float64          `json:"minimum"`
	Maximum    *float64          `json:"maximum"`
	Properties map[string]schema `json:"properties"`
	Required   []string          `json:"required"`
	Items      *schema           `json:"items"`
	OneOf      []schema          `json:"oneOf"`
}

// requests makes requests by a document.
type requests struct {
	doc    document
	random *rand.Rand
	known  []string          // ids that exist, and one that does not
	named  map[string]string // what a field is about, by its name
}

// one makes one request and returns the status of its answer.
func (f *requests) one(t *testing.T, client *http.Client, p *program, method, path string) int {
	t.Helper()
	op := f.doc.Paths[path][method]
	address, query := path, url.Values{}
	for _, q := range op.Parameters {
		switch {
		case q.In == "path":
			address = strings.ReplaceAll(address, "{"+q.Name+"}", url.PathEscape(cmp.Or(f.id(), "none")))
		case q.In == "query" && (q.Required || f.random.IntN(3) > 0):
			query.Set(q.Name, fmt.Sprint(f.value(q.Schema, 0)))
		}
	}
	var body []byte
	if content, has := op.RequestBody.Content["application/json"]; has {
		body = f.body(content.Schema)
	}
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, strings.ToUpper(method), p.http+address+"?"+query.Encode(), bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	said := fmt.Sprintf("%s %s?%.300s %.300s", method, address, query.Encode(), body)
	answer, err := client.Do(r)
	if err != nil {
		t.Fatalf("%s: %v; the log:\n%s", said, err, p.log.tail(30))
	}
	defer answer.Body.Close()
	if answer.Header.Get("Content-Type") != "text/event-stream" { // which has no end
		text, err := io.ReadAll(answer.Body)
		if err != nil || answer.StatusCode >= 500 {
			t.Errorf("%s: %s %.300s %v", said, answer.Status, text, err)
		}
	}
	// A batch or a sensor that is not there is 404 everywhere.
	if _, named := op.Responses[strconv.Itoa(answer.StatusCode)]; !named && op.Responses["default"] == nil {
		t.Errorf("%s: the document does not name %s", said, answer.Status)
	}
	if id := answer.Header.Get("Location"); id != "" && len(f.known) < 40 {
		f.known = append(f.known, id[strings.LastIndex(id, "/")+1:])
	}
	return answer.StatusCode
}

func (f *requests) id() string {
	if f.random.IntN(4) == 0 {
		return f.text()
	}
	return f.known[f.random.IntN(len(f.known))]
}

// body returns a body that mostly follows the schema. Some are cut short or are no JSON.
func (f *requests) body(s schema) []byte {
	switch f.random.IntN(20) {
	case 0:
		return []byte(f.text())
	case 1:
		return bytes.Repeat([]byte(`{"a":[`), 1+f.random.IntN(2000))
	}
	text, err := json.Marshal(f.value(s, 0))
	if err != nil {
		return []byte("{}")
	}
	if f.random.IntN(20) == 0 {
		return text[:f.random.IntN(len(text)+1)]
	}
	return text
}

// value returns a value for a schema, and now and then one of any type.
func (f *requests) value(s schema, depth int) any {
	if f.random.IntN(30) == 0 || depth > 6 {
		return f.anything()
	}
	if s.Ref != "" {
		return f.value(f.doc.Components.Schemas[s.Ref[strings.LastIndex(s.Ref, "/")+1:]], depth+1)
	}
	if len(s.OneOf) > 0 {
		return f.value(s.OneOf[f.random.IntN(len(s.OneOf))], depth+1)
	}
	if len(s.Enum) > 0 {
		return s.Enum[f.random.IntN(len(s.Enum))]
	}
	kind, _ := s.Type.(string)
	if kinds, several := s.Type.([]any); several && len(kinds) > 0 {
		kind, _ = kinds[f.random.IntN(len(kinds))].(string)
	}
	switch kind {
	case "object":
		all := map[string]any{}
		for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
			inner := s.Properties[name]
			if name != "$schema" && (f.random.IntN(2) == 0 || slices.Contains(s.Required, name) && f.random.IntN(10) > 0) {
				all[name] = f.value(inner, depth+1)
				if known := f.named[name]; known != "" && f.random.IntN(8) > 0 {
					all[name] = known
				}
			}
		}
		if f.random.IntN(20) == 0 {
			all[f.text()] = f.anything()
		}
		return all
	case "array":
		var list []any
		for range f.random.IntN(4) {
			if s.Items != nil {
				list = append(list, f.value(*s.Items, depth+1))
			}
		}
		return list
	case "number", "integer":
		return f.number(s, kind == "integer")
	case "boolean":
		return f.random.IntN(2) == 0
	case "null":
		return nil
	}
	if s.Format == "date-time" {
		return time.Now().Add(time.Duration(f.random.IntN(50)-48) * time.Hour / 10).UTC().Format(time.RFC3339)
	}
	return f.id()
}

// number returns a number inside the bounds of a schema, at one of them, or far away.
func (f *requests) number(s schema, whole bool) any {
	low, high := 0.0, 200.0
	if s.Minimum != nil {
		low = *s.Minimum
	}
	if s.Maximum != nil {
		high = *s.Maximum
	}
	n := []float64{low, high, low + (high-low)*f.random.Float64(), low + (high-low)*f.random.Float64(), -1, 1e18, 1e-300}[f.random.IntN(7)]
	if whole && f.random.IntN(10) > 0 {
		return int64(max(-1e18, min(1e18, n)))
	}
	return n
}

var texts = []string{
	"", " ", "a", "press-1", "2026-06-12", "9999-99-99T99:99:99Z", "1e999", "-0", "NaN", "null", "../../etc/passwd", "%00", "\x00", "\u202eabc", "🧪", "'; DROP TABLE record;--",
	"<script>", strings.Repeat("x", 300), strings.Repeat("é", 500), "\xff\xfe", "/", "?", "#", "=1+1",
}

func (f *requests) text() string { return texts[f.random.IntN(len(texts))] }

func (f *requests) anything() any {
	switch f.random.IntN(8) {
	case 0:
		return nil
	case 1:
		return f.random.NormFloat64() * 1e6
	case 2:
		return true
	case 3:
		return []any{f.text(), 1, nil}
	case 4:
		return map[string]any{f.text(): f.text()}
	case 5:
		return json.Number(strings.Repeat("9", 400))
	default:
		return f.text()
	}
}
