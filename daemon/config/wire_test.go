package config

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"potlifed/daemon/wiretest"
)

// TestNamesOfKeys pins every key of the configuration. It asks for a key that is far from
// all others at every place that may be a mapping or a list of mappings; the fault then
// lists the keys of that place.
func TestNamesOfKeys(t *testing.T) {
	var lines []string
	var look func(path []string)
	look = func(path []string) {
		for _, key := range keysAt(t, path) {
			lines = append(lines, strings.Join(append(slices.Clone(path), key), "."))
			for _, as := range []string{key, key + "[]"} {
				if at := append(slices.Clone(path), as); len(keysAt(t, at)) > 0 {
					look(at)
				}
			}
		}
	}
	look(nil)
	slices.Sort(lines)
	wiretest.Golden(t, "../..", "configuration.golden", *update, lines)
}

const farFromAll = "zzzzzzzzzzzzzzzzzzzz"

// keysAt returns the keys that the mapping at a path may have, none when no mapping is
// read there.
func keysAt(t *testing.T, path []string) []string {
	t.Helper()
	text := "{" + farFromAll + ": 1}"
	for _, key := range slices.Backward(path) {
		if list, is := strings.CutSuffix(key, "[]"); is {
			text = fmt.Sprintf("{%s: [%s]}", list, text)
		} else {
			text = fmt.Sprintf("{%s: %s}", key, text)
		}
	}
	_, err := Parse("f", []byte(text+"\n"))
	var faults *Faults
	if !errors.As(err, &faults) {
		t.Fatalf("%s: %v", text, err)
	}
	for _, f := range faults.List {
		if !strings.Contains(f.Found, farFromAll) || !strings.HasPrefix(f.Found, "the unknown key") {
			continue
		}
		keys, is := strings.CutPrefix(f.Want, "one of ")
		if !is {
			t.Fatalf("%s: want %q, which is no list of keys", text, f.Want)
		}
		return strings.Split(keys, ", ")
	}
	return nil
}
