// Package wiretest helps tests to pin the names that other programs rely on: topics and
// their fields, rows of the API, kinds of event, metrics, configuration keys. Each list is
// a file in testdata/wire. A name in it is not changed without a reason, since a client
// that reads it would break.
package wiretest

import (
	"encoding"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

// Golden compares lines with the file name in testdata/wire and reports each difference as an
// error of the test. dir is the path from the package under test to the root of the repository.
// With update, Golden writes the file first.
func Golden(t testing.TB, dir, name string, update bool, lines []string) {
	t.Helper()
	path := filepath.Join(dir, "testdata", "wire", name)
	got := strings.Join(lines, "\n") + "\n"
	if update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got == string(want) {
		return
	}
	had := strings.Split(strings.TrimSuffix(string(want), "\n"), "\n")
	for _, line := range had {
		if !slices.Contains(lines, line) {
			t.Errorf("%s: no longer there: %s", path, line)
		}
	}
	for _, line := range lines {
		if !slices.Contains(had, line) {
			t.Errorf("%s: new: %s", path, line)
		}
	}
	if !t.Failed() {
		t.Errorf("%s: the order of the lines is another", path)
	}
}

// Fields returns the path of each JSON field of a type, sorted. A list is marked by [],
// the values of a map by .*; a structure itself is not listed.
func Fields(of reflect.Type) []string {
	var all []string
	walk(of, "", nil, func(path string) { all = append(all, path) })
	slices.Sort(all)
	return slices.Compact(all)
}

func walk(of reflect.Type, path string, above []reflect.Type, each func(string)) {
	text := reflect.TypeFor[encoding.TextMarshaler]()
	switch {
	case of == reflect.TypeFor[time.Time](), of.Implements(text), reflect.PointerTo(of).Implements(text):
		each(path)
	case of.Kind() == reflect.Pointer:
		walk(of.Elem(), path, above, each)
	case of.Kind() == reflect.Slice && of.Elem().Kind() != reflect.Uint8, of.Kind() == reflect.Array:
		walk(of.Elem(), path+"[]", above, each)
	case of.Kind() == reflect.Map:
		walk(of.Elem(), path+".*", above, each)
	case of.Kind() == reflect.Struct && !slices.Contains(above, of):
		above = append(slices.Clone(above), of)
		for i := range of.NumField() {
			f := of.Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			switch {
			case name == "-":
			case name == "" && f.Anonymous:
				walk(f.Type, path, above, each)
			case !f.IsExported():
			case name == "":
				walk(f.Type, below(path, f.Name), above, each)
			default:
				walk(f.Type, below(path, name), above, each)
			}
		}
	default:
		each(path)
	}
}

func below(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}
