package main

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// TestManualNamesEveryCommandAndFlag also lets man read the page where there is one.
func TestManualNamesEveryCommandAndFlag(t *testing.T) {
	code, out, errs := called(t, "", "manual")
	if code != exitDone || errs != "" {
		t.Fatalf("manual: code %d, %s", code, errs)
	}
	var all func(c *cobra.Command)
	all = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			if sub.Hidden || !sub.IsAvailableCommand() {
				continue
			}
			if heading := ".SS " + roffArgument(strings.TrimPrefix(sub.UseLine(), "potlifed ")); !strings.Contains(out, heading) {
				t.Errorf("the manual has no %s", heading)
			}
			sub.LocalFlags().VisitAll(func(f *pflag.Flag) {
				if !f.Hidden && !strings.Contains(out, `\-\-`+escaped(f.Name)) {
					t.Errorf("%s: the manual has no --%s", sub.CommandPath(), f.Name)
				}
			})
			all(sub)
		}
	}
	all(rootCommand())

	man, err := exec.LookPath("man")
	if err != nil {
		t.Skip("man is not there: the page is not read by it")
	}
	read := exec.Command(man, "--warnings", "-E", "UTF-8", "-l", "-Tutf8", "-Z", "-")
	read.Env = append(read.Environ(), "LC_ALL=C.UTF-8", "MANROFFSEQ=", "MANWIDTH=80")
	read.Stdin = strings.NewReader(out)
	var said strings.Builder
	read.Stderr = &said
	if err := read.Run(); err != nil || said.Len() > 0 {
		t.Errorf("man: %v\n%s", err, said.String())
	}
}

func TestManualEscapes(t *testing.T) {
	for text, want := range map[string]string{
		`a\b`:              `a\eb`,
		".SH x\n'y\nz-1.5": "\\&.SH x\n\\&'y\nz\\-1.5",
	} {
		if got := escaped(text); got != want {
			t.Errorf("escaped(%q) = %q, want %q", text, got, want)
		}
	}
	if got := roffArgument(`say "x"`); got != `"say \(dqx\(dq"` {
		t.Errorf("roffArgument: %s", got)
	}
}
