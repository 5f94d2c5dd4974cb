package main

import (
	"encoding/json"
	"strings"
	"testing"
)

// TestLearnFromARunningJournal: the program runs and keeps batches; learn reads how they
// ended beside it.
func TestLearnFromARunningJournal(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	p := start(t, file)
	id := b.mix(t, p)
	if _, wrong := p.post("batches/"+id+"/close", map[string]any{"outcome": "went-off", "seen": "now"}); wrong != nil {
		t.Fatal(wrong)
	}
	code, out, errs := command(t, "learn", "--config", file, "--json")
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var answer struct {
		Inks []struct {
			Ink       string
			Ends      int
			LeftOut   int                    `json:"left_out"`
			LRefH     struct{ Learned bool } `json:"l_ref_h"`
			Verdict   string
			LeftOutOf []struct{ ID, Why string } `json:"left_out_rows"`
		}
	}
	if err := json.Unmarshal([]byte(out), &answer); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	// An ink of 6 to 8 hours that goes off within a minute is a slip of the pen, and is
	// listed as such.
	if len(answer.Inks) != 1 || answer.Inks[0].Ends+answer.Inks[0].LeftOut != 1 || answer.Inks[0].LRefH.Learned {
		t.Errorf("learned: %+v", answer.Inks)
	}
	if code, _, errs := command(t, "learn", "--config", file, "--lag", "0"); code != 2 || !strings.Contains(errs, "--lag") {
		t.Errorf("--lag with the journal: exit %d, %s", code, errs)
	}
	p.stop()
}
