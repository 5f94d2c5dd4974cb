package main

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

func TestVersionIsTheFirstOfTheChangelog(t *testing.T) {
	text, err := os.ReadFile("../../CHANGELOG.md")
	if err != nil {
		t.Fatal(err)
	}
	first := regexp.MustCompile(`(?m)^## (\S+)`).FindSubmatch(text)
	if first == nil || string(first[1]) != version() {
		t.Errorf("CHANGELOG.md begins with %q, the program is %s", first, version())
	}
	if !regexp.MustCompile(`^\d+\.\d+\.\d+$`).MatchString(version()) {
		t.Errorf("%q is no version MAJOR.MINOR.PATCH", version())
	}
	code, out, errs := called(t, "", "--version")
	if code != exitDone || !strings.HasPrefix(out, "potlifed version "+version()+" (") {
		t.Errorf("--version: code %d, %q, %q", code, out, errs)
	}
}
