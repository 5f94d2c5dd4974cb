package report

import (
	"strings"
	"testing"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/verify"
)

func TestTheRecordOfACheck(t *testing.T) {
	at := time.Date(2026, 6, 12, 9, 0, 0, 0, time.UTC)
	due := at.AddDate(1, 0, 0)
	scale := view.Sensor{ID: "scale-1", Scale: true, CheckDue: &due, ScaleCheck: &view.ScaleCheck{At: at, By: "local", Class: verify.ClassIII, WeightClass: verify.M1, Note: "certificate 2291", ScaleResult: verify.ScaleResult{
		Verdict: verify.InService, Loads: []verify.LoadResult{{LoadG: 100, N: 3, ErrorG: 0.667, SpreadG: 1, UncertaintyG: 1.054, InitialG: 0.5, InServiceG: 1, CoarseWeights: true, Verdict: verify.InService}},
	}}}
	sensor := view.Sensor{ID: "hall-<air>", CheckFailed: "it failed", CheckPoints: []view.SensorCheckPoint{
		{At: at, Salt: "sodium-chloride", ReadPct: 66, ReferencePct: 75.5, OffPct: -9.5, UncertaintyPct: 1.4, AllowedPct: 3},
		{At: at, ReadPct: 50, ReferencePct: 50.4, OffPct: -0.4, UncertaintyPct: 1.4, AllowedPct: 3, Passed: true, By: "helen", Note: "meter 12", Override: "the jar leaks"},
	}}
	read, off := 51.2, -1.9
	recorded := []history.Check{ // the last one is a point of the newest check
		{Time: at.AddDate(-1, 0, 0), By: "local", Passed: false, ReferencePct: 53.1, ReadPct: &read, OffPct: &off, AllowedPct: 1.5, Note: "meter 11, K-<77>"},
		{Time: at, By: "helen", Passed: true, ReferencePct: 50.4, AllowedPct: 3, Note: "meter 12"},
	}
	for _, c := range []struct {
		of   view.Sensor
		want []string
	}{
		{scale, []string{"scale-1", "<dd>someone at the bench</dd>", `<a class="back" href="/devices">Back to the pages</a>`, "0.667", "1.054", "12 Jun 2027", "in service", "III", "local", "certificate 2291", "M1", "table scale-checks"}},
		{sensor, []string{"hall-&lt;air&gt;", "NaCl", "−9.5", "Reference meter", "Failed", "it failed", "recorded by helen; meter 12", "come to rest: the jar leaks", "Earlier checks", "12 Jun 2025", "53.1", "−1.9", "meter 11, K-&lt;77&gt;"}},
	} {
		var out strings.Builder
		if written, err := WriteCheck(&out, "bench-1", "/devices", c.of, recorded, words.Locale{}); !written || err != nil {
			t.Fatal(written, err)
		}
		for _, want := range c.want {
			if !strings.Contains(out.String(), want) {
				t.Errorf("%s: no %q in the record\n%s", c.of.ID, want, out.String()[strings.Index(out.String(), "<body>"):])
			}
		}
		if n := strings.Count(out.String(), "meter 12"); !c.of.Scale && n != 1 {
			t.Errorf("the newest check is listed %d times", n)
		}
	}
	pseudo := words.Locale{Language: words.Pseudo(words.English()), Zone: time.UTC, Fahrenheit: true}
	for _, of := range []view.Sensor{scale, sensor} {
		var out strings.Builder
		if _, err := WriteCheck(&out, "bench-1", "", of, recorded, pseudo); err != nil {
			t.Fatal(err)
		}
		isPseudo(t, "the record of "+of.ID, out.String(), "bench-1", of.ID, "tester", "helen", "certificate 2291", "meter 12", "meter 11, K-<77>", "the jar leaks", "it failed", "III", "M1", "NaCl")
	}
	var out strings.Builder
	if written, err := WriteCheck(&out, "bench-1", "", view.Sensor{ID: "x"}, recorded, words.Locale{}); written || err != nil || out.Len() > 0 {
		t.Errorf("an instrument without a check: %v, %v, %q", written, err, out.String())
	}
}
