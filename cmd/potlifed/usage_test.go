package main

import (
	"strings"
	"testing"
)

// TestWrongRequests: what a newcomer may type wrongly is a fault of the request, named
// with what to do, and never in a Go library's words.
func TestWrongRequests(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"demmo"}, "did you mean demo?"},
		{[]string{"version"}, "see potlifed --help"},
		{[]string{"-x"}, "there is no flag -x"},
		{[]string{"run", "--nonsense"}, "run: there is no flag --nonsense; see potlifed run --help"},
		{[]string{"token", "list", "--nonsense"}, "see potlifed token list --help"},
		{[]string{"check", "potlifed.yaml"}, "name one configuration with --config"},
		{[]string{"mix", "85"}, `mix: "85" is not understood`},
		{[]string{"demo", "--speed", "fast"}, `demo: --speed "fast": want a number`},
		{[]string{"demo", "--speed", "500"}, "demo: --speed 500: want 1 to 240"},
		{[]string{"demo", "--seed", "-1"}, "a whole number from 0 on"},
		{[]string{"demo", "--for", "5"}, `--for "5": want a duration with its unit`},
		{[]string{"demo", "--for", "-1s"}, "--for -1s is negative"},
		{[]string{"demo", "--defects", "some"}, "demo: --defects some: want rising or constant"},
		{[]string{"demo", "--listen", "9755"}, "demo: --listen 9755: want HOST:PORT"},
		{[]string{"air", "--temperature", "20,5", "--humidity", "50"}, "with a point for decimals"},
		{[]string{"plan", "--prints", "1.5"}, `--prints "1.5": want a whole number`},
		{[]string{"air", "--csv=maybe"}, "want true or false"},
		{[]string{"mix"}, "mix: --ratio is missing"},
		{[]string{"mix", "--ink-g", "85", "--ratio", "five"}, "mix: --ratio: "},
		{[]string{"life", "--temperature", "20", "--humidity", "50"}, "life: --shortest and --longest are missing"},
		{[]string{"run", "--config"}, "run: --config needs a value"},
		{[]string{"export"}, "export: --out is missing"},
		{[]string{"export", "--out", "x", "--tables", "air,inks"}, `export: there is no table "inks"; the tables are air, batches,`},
		{[]string{"export", "--out", "x", "--format", "xml"}, `export: --format "xml"; want one of csv, jsonl.gz`},
	} {
		code, out, errs := command(t, c.args...)
		if code != 2 || !strings.Contains(errs, c.want) || out != "" {
			t.Errorf("%v: exit %d, %s%s; want exit 2 and %q", c.args, code, out, errs, c.want)
		}
		for _, foreign := range []string{"strconv", "invalid syntax", "invalid argument", "unknown flag", "potlifed: potlifed:"} {
			if strings.Contains(errs, foreign) {
				t.Errorf("%v: %s", c.args, errs)
			}
		}
	}
}
