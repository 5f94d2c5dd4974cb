package view_test

import (
	"encoding/json"
	"flag"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/daemon/wiretest"
)

var update = flag.Bool("update", false, "rewrite the list of names on the wire")

// TestNamesOfEvents pins the kinds of event and their published fields.
func TestNamesOfEvents(t *testing.T) {
	var lines []string
	for _, kind := range kinds() {
		_, body := stored(t, kind, 1.5)
		e, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Unix(0, 0), string(kind), "anna", body)
		if err != nil {
			t.Fatal(err)
		}
		var v map[string]any
		if err := json.Unmarshal(e.JSON, &v); err != nil {
			t.Fatal(err)
		}
		paths(v, "", func(path string) { lines = append(lines, string(kind)+" "+path) })
	}
	slices.Sort(lines)
	wiretest.Golden(t, "../..", "events.golden", *update, slices.Compact(lines))
}

// paths lists the paths of what a JSON value holds. The keys that full gives a map are *.
func paths(v any, path string, each func(string)) {
	switch v := v.(type) {
	case map[string]any:
		for name, value := range v {
			if name == "a-name" || name == "sensor-stale" {
				name = "*"
			}
			paths(value, strings.TrimPrefix(path+"."+name, "."), each)
		}
	case []any:
		for _, value := range v {
			paths(value, path+"[]", each)
		}
	default:
		each(path)
	}
}
