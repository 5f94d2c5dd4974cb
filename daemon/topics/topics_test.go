package topics

import (
	"flag"
	"os"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the golden")

// The topics are the contract with other programs; a renamed method must not change them.
func TestTopicsAreWrittenOut(t *testing.T) {
	b := New("potlife", "bench-1")
	got := strings.Join([]string{
		b.Availability(), b.Daemon(), b.Air("ZONE"), b.Scale("ID"), b.Batch("ID"),
		b.Light("ID", FormJSON), b.Light("ID", FormMeaning), b.Light("ID", FormColour), b.Heartbeat("ID"), b.Probe(),
		b.Alarm("NAME", "SUBJECT"), b.Sensor("ID"), b.Event(), b.Do("VERB"), b.Done("VERB"),
	}, "\n") + "\n"
	const golden = "testdata/topics.golden"
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; got:\n%s\nwant:\n%s", golden, got, want)
	}
}

func TestSplit(t *testing.T) {
	b := New("potlife", "bench-1")
	for topic, want := range map[string][2]string{
		b.Air("hall"): {KindAir, "hall"}, b.Light("light-1", FormMeaning): {KindLight, "light-1/meaning"},
		b.Availability(): {KindAvailability, ""}, b.Alarm("batch-dead", "0612-1"): {KindAlarm, "batch-dead/0612-1"},
	} {
		if kind, rest, ok := b.Split(topic); !ok || kind != want[0] || rest != want[1] {
			t.Errorf("%s: %q, %q, %v; want %q", topic, kind, rest, ok, want)
		}
	}
	for _, topic := range []string{"", "potlife", "potlife/bench-10/air/hall", "elsewhere/bench-1/air/hall"} {
		if _, _, ok := b.Split(topic); ok {
			t.Errorf("%q is under bench-1", topic)
		}
	}
}

func TestVerb(t *testing.T) {
	b := New("potlife", "bench-1")
	if verb, ok := b.Verb(b.Do("load")); verb != "load" || !ok {
		t.Errorf("%q, %v", verb, ok)
	}
	for _, topic := range []string{b.Do(""), b.Do("a/b"), b.Done("load"), "potlife/bench-1/do", "x"} {
		if verb, ok := b.Verb(topic); ok {
			t.Errorf("%q has the verb %q", topic, verb)
		}
	}
}
