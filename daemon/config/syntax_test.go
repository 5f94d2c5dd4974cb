package config

import (
	"errors"
	"strings"
	"testing"
)

// TestMistakesOfWriting: of a slip that makes the file no YAML, the message has the line of
// the slip, and says in words what is there and what to do.
func TestMistakesOfWriting(t *testing.T) {
	const quick = "bench: bench-1\n"
	for _, c := range []struct {
		name, text   string
		line, column int
		says         []string
	}{
		{"a tab for indentation", quick + "http:\n\tlisten: x\n", 3, 1, []string{"a tab in the indentation", "spaces"}},
		{"a tab on the second line of a section", quick + "http:\n  listen: x\n\thosts: []\n", 4, 1, []string{"a tab", "spaces"}},
		{"a tab before an entry", quick + "scales:\n\t- id: s\n", 3, 1, []string{"a tab", "spaces"}},
		{"UTF-16", "\xff\xfeb\x00e\x00", 1, 1, []string{"UTF-16", "save the file again", "UTF-8"}},
		{"too deep", quick + "http:\n  listen: x\n   hosts: []\n", 4, 4, []string{`"hosts" after 3 spaces`, "2 spaces as the line before"}},
		{"too shallow", quick + "http:\n  listen: x\n hosts: []\n", 4, 2, []string{`"hosts" after 1 space`, "as many spaces"}},
		{"back to no level", quick + "http:\n    listen: x\n  hosts: []\n", 4, 3, []string{`"hosts" after 2 spaces`, "as many spaces"}},
		{"deeper at the top", quick + "  data_dir: /x\n", 2, 3, []string{`"data_dir" after 2 spaces`, "0 spaces"}},
		{"deeper behind a comment", quick + "http: # the page\n  # where\n  listen: x\n\n     hosts: []\n", 6, 6, []string{`"hosts" after 5 spaces`, "2 spaces"}},
		{"an entry's key too deep", quick + "scales:\n  - id: s\n     port: /a\n", 4, 6, []string{`"port" after 5 spaces`, "4 spaces"}},
		{"an entry's key too shallow", quick + "scales:\n  - id: s\n   port: /a\n", 4, 4, []string{`"port" after 3 spaces`}},
		{"an entry's key under the hyphen", quick + "scales:\n  - id: s\n  port: /a\n", 4, 3, []string{`"port" after 2 spaces`, "4 spaces as the keys of the entry above"}},
		{"the third key of an entry", quick + "scales:\n  - id: s\n    port: /a\n   baud: 9600\n", 5, 4, []string{`"baud" after 3 spaces`}},
		{"no space behind the hyphen", quick + "scales:\n  -id: s\n   port: /a\n", 4, 4, []string{`"port" after 3 spaces`}},
		{"no closing brace", quick + "scales:\n  - {id: s, port: /a\nsensors: []\n", 3, 5, []string{`"{" that is not closed`, "} at its end"}},
		{"no closing bracket", quick + "scales: [\n", 2, 9, []string{`"[" that is not closed`, "] at its end"}},
		{"a bracket too many", quick + "scales: ]\n", 2, 9, []string{`"]"`, "none is open"}},
		{"the wrong bracket", quick + "others: [a, b}\n", 2, 9, []string{`"[" that is not closed`, "] at its end"}},
		{"no closing quote", quick + "clock: \"kernel\nhttp:\n  listen: x\n", 2, 8, []string{`begins with "`, "at the end of the text"}},
		{"no closing single quote", quick + "clock: 'kernel\n", 2, 8, []string{"begins with '"}},
		{"two keys on a line", quick + "http: listen: x\n", 2, 7, []string{`"http: listen: x"`, "one KEY: VALUE on a line"}},
		{"no colon", quick + "clock kernel\nhttp:\n  listen: x\n", 2, 1, []string{`"clock kernel"`, "a colon and a space"}},
		{"no space behind the colon", "bench:b\nclock: kernel\n", 1, 1, []string{`"bench:b"`, "a colon and a space"}},
		{"a reserved character", quick + "clock: @kernel\n", 2, 8, []string{`"@"`, "in quotes"}},
		{"a backslash", quick + `clock: "\kernel"` + "\n", 2, 10, []string{"a backslash", "single quotes"}},
		{"text behind a quoted text", "bench: \"b\" 1\n", 1, 12, []string{`"b\" 1"`, "in quotes"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parse("f", []byte(c.text))
			var faults *Faults
			if !errors.As(err, &faults) || len(faults.List) != 1 {
				t.Fatalf("%v; want one fault", err)
			}
			f := faults.List[0]
			if f.Line != c.line || f.Column != c.column {
				t.Errorf("at %d:%d, want %d:%d: %v", f.Line, f.Column, c.line, c.column, err)
			}
			for _, want := range c.says {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("no %q in %v", want, err)
				}
			}
			if strings.Contains(err.Error(), "valid YAML") {
				t.Errorf("the message is the parser's: %v", err)
			}
		})
	}
}

// TestMissingColonInBraces: YAML takes the words for a key without a value.
func TestMissingColonInBraces(t *testing.T) {
	_, err := Parse("f", []byte(strings.Replace(smallest, "port: /dev/ttyUSB0", "port /dev/ttyUSB0", 1)))
	if err == nil || !strings.Contains(err.Error(), "f:3:19: scales[0]: found the unknown key") || !strings.Contains(err.Error(), "as in port: /dev/ttyUSB0") {
		t.Error(err)
	}
}

// TestByteOrderMarkIsNoFault: an editor's mark before the text changes nothing, places of
// faults included.
func TestByteOrderMarkIsNoFault(t *testing.T) {
	if _, err := Parse("f", []byte(byteOrderMark+smallest)); err != nil {
		t.Error(err)
	}
	_, err := Parse("f", []byte(byteOrderMark+"benhc: x\n"))
	if err == nil || !strings.Contains(err.Error(), `f:1:1: found the unknown key "benhc": did you mean bench?`) {
		t.Errorf("a misspelt first key behind a mark: %v", err)
	}
}
