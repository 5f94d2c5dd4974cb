package main

import (
	"encoding/json"
	"strings"
	"testing"
)

func TestVerify(t *testing.T) {
	for _, c := range []struct {
		args string
		code int
		want []string
	}{
		{"verify scale --division-g 1 --load 100=100,101,100", 0, []string{"class III", "+0.333", "in-service", "Not recorded. With --record"}},
		{"verify scale --division-g 1 --load 500+200=703,703,703", 1, []string{"700", "Failed: ", "verify scale: the check failed"}},
		{"verify scale --division-g 1 --load 100=100", 2, []string{"repeatability"}},
		{"verify scale --division-g 1 --load 30=30,30,30", 2, []string{"nominal mass"}},
		{"verify scale --load x", 2, []string{"want weights"}},
		{"verify scale --class I --load 100=100,100,100", 2, []string{"OIML R 76 has class [III]"}},
		{"verify sensor --salt magnesium-chloride=33.5 --salt sodium-chloride=66", 1, []string{"passed", "failed", "solvent", "Failed: at least one point is beyond", "Keep it in clean air", "verify sensor: the check failed"}},
		{"verify sensor --salt sodium-chloride=79.5 --salt magnesium-chloride=34.6", 1, []string{"Failed: ", "corrected = +0.40", "0.9445"}},
		{"verify sensor --meter 50=50.5", 0, []string{"passed", "Passed: every point", "Not recorded. With --record"}},
		{"verify sensor", 2, []string{"no point"}},
		{"verify sensor --temperature 60 --salt sodium-chloride=75", 2, []string{"known from 10 to 40"}},
		{"verify sensor --salt sugar=20", 2, []string{"sodium-chloride"}},
		{"verify", 2, []string{"scale or sensor"}},
	} {
		var out, errs strings.Builder
		code := run(t.Context(), strings.Fields(c.args), strings.NewReader(""), &out, &errs)
		if code != c.code {
			t.Errorf("%s: code %d, want %d: %s", c.args, code, c.code, errs.String())
		}
		for _, want := range c.want {
			if !strings.Contains(out.String()+errs.String(), want) {
				t.Errorf("%s: no %q in\n%s%s", c.args, want, out.String(), errs.String())
			}
		}
	}
	var out strings.Builder
	var errs strings.Builder
	if code := run(t.Context(), strings.Fields("verify sensor --json --salt sodium-chloride=79.5"), strings.NewReader(""), &out, &errs); code != exitFault {
		t.Errorf("a check that failed, as JSON: code %d", code)
	}
	var a sensorAnswer
	if err := json.Unmarshal([]byte(out.String()), &a); err != nil || a.Passed || a.Correction == nil || a.Correction.Gain != 1 || a.Points[0].ReferencePct != 75.48 {
		t.Errorf("%s: %+v, %v", out.String(), a, err)
	}
}
