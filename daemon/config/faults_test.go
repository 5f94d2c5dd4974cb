package config

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestFaults compares what is said about each wrong file with the golden beside it.
func TestFaults(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("testdata", "faults", "*.yaml"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no files: %v", err)
	}
	for _, file := range files {
		name := filepath.Base(file)
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			shop, err := Parse(name, data)
			var faults *Faults
			if !errors.As(err, &faults) {
				t.Fatalf("accepted, or another error: %v", err)
			}
			if diff := cmp.Diff(Shop{}, shop, inside); diff != "" {
				t.Errorf("a shop in spite of faults:\n%s", diff)
			}
			golden := strings.TrimSuffix(file, ".yaml") + ".golden"
			got := err.Error() + "\n"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

// TestFaultIsWhereItIs checks positions against the text itself, so that a golden
// rewritten by mistake does not move them.
func TestFaultIsWhereItIs(t *testing.T) {
	for wrong, path := range map[string]string{
		"/dev/ttyUSB0": "scales[0].port",
		"bench-air":    "sensors[0].id",
		`"5:1"`:        "inks[0].hardener_ratio",
		"4h30m":        "inks[0].pot_life.shortest",
	} {
		text := strings.Replace(smallest, wrong, `"?"`, 1)
		before, _, _ := strings.Cut(text, `"?"`)
		line := 1 + strings.Count(before, "\n")
		column := len(before) - strings.LastIndex(before, "\n")
		_, err := Parse("f", []byte(text))
		var faults *Faults
		if !errors.As(err, &faults) || len(faults.List) != 1 {
			t.Errorf("%s spoilt: %v; want one fault", path, err)
			continue
		}
		if got := faults.List[0]; got.Line != line || got.Column != column || got.Path != path || got.Found != `"?"` {
			t.Errorf("%s spoilt at %d:%d: got %+v", path, line, column, got)
		}
	}
}

func TestOversizedFile(t *testing.T) {
	_, err := Parse("f", []byte(smallest+"#"+strings.Repeat("x", maxFileBytes)))
	if err == nil || !strings.HasPrefix(err.Error(), "f:1:1: found ") {
		t.Errorf("got %v", err)
	}
}

// TestNesting: what would take the YAML parser's memory is refused before it.
func TestNesting(t *testing.T) {
	for _, opening := range []string{"[", "{a: ", "- ", "[\n", "? ", "- a: "} {
		_, err := Parse("f", []byte(strings.Repeat(opening, maxFileBytes/len(opening))))
		if err == nil || !strings.Contains(err.Error(), "inside each other") {
			t.Errorf("%q: got %v", opening, err)
		}
	}
	many := "[" + strings.Repeat("press-1, ", 100) + "press-1]"
	if _, err := Parse("f", []byte(smallest+"lights: [{id: l, presses: "+many+"}]\n")); strings.Contains(err.Error(), "inside each other") {
		t.Errorf("a long list is not a deep one: %v", err)
	}
}
