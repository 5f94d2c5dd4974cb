package report

import (
	"strings"
	"testing"
	"time"

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
	for _, c := range []struct {
		of   view.Sensor
		want []string
	}{
		{scale, []string{"scale-1", "<dd>someone at the bench</dd>", `<a class="back" href="/devices">Back to the pages</a>`, "0.667", "1.054", "12 Jun 2027", "in service", "III", "local", "certificate 2291", "M1"}},
		{sensor, []string{"hall-&lt;air&gt;", "NaCl", "−9.5", "Reference meter", "Failed", "it failed", "recorded by helen; meter 12", "come to rest: the jar leaks"}},
	} {
		var out strings.Builder
		if written, err := WriteCheck(&out, "bench-1", "/devices", c.of, words.Locale{}); !written || err != nil {
			t.Fatal(written, err)
		}
		for _, want := range c.want {
			if !strings.Contains(out.String(), want) {
				t.Errorf("%s: no %q in the record\n%s", c.of.ID, want, out.String()[strings.Index(out.String(), "<body>"):])
			}
		}
	}
	pseudo := words.Locale{Language: words.Pseudo(words.English()), Zone: time.UTC, Fahrenheit: true}
	for _, of := range []view.Sensor{scale, sensor} {
		var out strings.Builder
		if _, err := WriteCheck(&out, "bench-1", "", of, pseudo); err != nil {
			t.Fatal(err)
		}
		isPseudo(t, "the record of "+of.ID, out.String(), "bench-1", of.ID, "tester", "helen", "certificate 2291", "meter 12", "the jar leaks", "it failed", "III", "M1", "NaCl")
	}
	var out strings.Builder
	if written, err := WriteCheck(&out, "bench-1", "", view.Sensor{ID: "x"}, words.Locale{}); written || err != nil || out.Len() > 0 {
		t.Errorf("an instrument without a check: %v, %v, %q", written, err, out.String())
	}
}
