package main

import (
	"os"
	"regexp"
	"runtime"
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

// TestOneVersionEverywhere: metrics, API and its description have the version of the command.
func TestOneVersionEverywhere(t *testing.T) {
	t.Parallel()
	p := start(t, newHardware(t).configuration(t, ""))
	var stored struct{ Version string }
	p.get("/api/v1/storage", &stored)
	var described struct{ Info struct{ Version string } }
	p.get("/openapi.json", &described)
	if stored.Version != version() || described.Info.Version != version() {
		t.Errorf("the API says %q, its description %q, the command %q", stored.Version, described.Info.Version, version())
	}
	if want := `potlife_build_info{bench="bench-1",goversion="` + runtime.Version() + `",version="` + version() + `"} 1`; !strings.Contains(p.text("/metrics"), want) {
		t.Errorf("the metrics have no %s", want)
	}
	p.stop()
}
