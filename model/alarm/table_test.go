package alarm

import (
	"flag"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the table in ALARMS.md")

var public = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

func TestEveryAlarmIsDefinedInFull(t *testing.T) {
	var lost []string
	for _, d := range Definitions() {
		found, ok := Find(d.Name)
		if !ok || found != d {
			t.Errorf("%s is not found by its name", d.Name)
		}
		if !public.MatchString(d.Name) {
			t.Errorf("%q cannot be a name in topics and addresses", d.Name)
		}
		if d.Cause == "" || d.Limit == "" || !strings.ContainsAny(d.Response[len(d.Response)-1:], ".?") {
			t.Errorf("%s: cause %q, limit %q, response %q", d.Name, d.Cause, d.Limit, d.Response)
		}
		if d.Priority != High && d.Priority != Medium && d.Priority != Low {
			t.Errorf("%s: priority %q", d.Name, d.Priority)
		}
		if d.Delays.On < 0 || d.Delays.Off <= 0 {
			t.Errorf("%s: delays %+v: without an off-delay it could chatter", d.Name, d.Delays)
		}
		if d.NeedsAir {
			lost = append(lost, d.Name)
		}
	}
	if want := []string{AirOutOfRange, LifeCut, Disagrees}; !slices.Equal(lost, want) {
		t.Errorf("a lost sensor suppresses %v, want %v and nothing else", lost, want)
	}
	if _, ok := Find("no-such-alarm"); ok {
		t.Error("an alarm that is not there was found")
	}
}

// TestDocument: the table for people is this one.
func TestDocument(t *testing.T) {
	const name = "ALARMS.md"
	var b strings.Builder
	b.WriteString("# The alarms\n\nWritten by `go test ./model/alarm -update` out of the table in `table.go`.\n\n")
	b.WriteString("States, after ISA-18.2 and IEC 62682: `unacknowledged`, `acknowledged`, `returned` (the cause is gone, nobody has\n")
	b.WriteString("acknowledged it), `shelved` (put aside until a time), `suppressed` (by design), `out-of-service` (device under maintenance).\n\n")
	b.WriteString("| alarm | about | priority | cause | limit | what to do | delay on, off |\n| --- | --- | --- | --- | --- | --- | --- |\n")
	for _, d := range Definitions() {
		note := ""
		if d.NeedsAir {
			note = "; suppressed while the sensor is lost"
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s%s | %s | %v, %v |\n",
			d.Name, d.Subject, d.Priority, d.Cause, d.Limit, note, d.Response, d.Delays.On, d.Delays.Off)
	}
	if *update {
		if err := os.WriteFile(name, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != b.String() {
		t.Errorf("%s is not what the table says; run go test -update and read the difference", name)
	}
}
