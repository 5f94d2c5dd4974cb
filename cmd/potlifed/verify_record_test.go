package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"potlifed/daemon/view"
)

// A check that the command records is judged and kept by the running service. Without a service nothing is recorded, and
// that is said.
func TestVerifyRecords(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	weigh := []string{"verify", "scale", "--config", file, "--record", "scale-1", "--interval-g", "1", "--load", "100=100,101,100", "--note", "certificate 2291"}
	if code, out, errs := command(t, weigh...); code != 1 || !strings.Contains(errs, "nothing was recorded") || out != "" {
		t.Errorf("without a service: %d, %s%s", code, out, errs)
	}
	p := start(t, file)
	// The command asks the port of the configuration; the test's service has one that was free.
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	text = []byte(strings.Replace(string(text), "127.0.0.1:0", strings.TrimPrefix(p.http, "http://"), 1))
	file = filepath.Join(b.dir, "as-served.yaml")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	weigh[3] = file
	p.eventually("a reading of the sensor", func() (bool, any) {
		var list struct{ Sensors []view.Sensor }
		p.get("/api/v1/sensors", &list)
		return len(list.Sensors) > 0 && list.Sensors[0].HumidityPct != nil, list.Sensors
	})
	if code, out, errs := command(t, weigh...); code != 0 || !strings.Contains(out, "Passed: within the limits in service") || !strings.Contains(out, "Recorded for scale-1 at ") {
		t.Errorf("scale: %d, %s%s", code, out, errs)
	}
	kept := func() *view.ScaleCheck {
		var list struct{ Sensors []view.Sensor }
		p.get("/api/v1/sensors", &list)
		for _, s := range list.Sensors {
			if s.ID == "scale-1" {
				return s.ScaleCheck
			}
		}
		return nil
	}
	if is := kept(); is == nil || is.Loads[0].LoadG != 100 || is.Loads[0].SpreadG != 1 {
		t.Errorf("the service has %+v", is)
	}
	sensor := ""
	var list struct{ Sensors []view.Sensor }
	p.get("/api/v1/sensors", &list)
	for _, s := range list.Sensors {
		if s.HumidityPct != nil {
			sensor = s.ID
		}
	}
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"verify sensor --record " + sensor + " --meter 48.2", 0, "Recorded for " + sensor},
		{"verify sensor --json --record " + sensor + " --meter 48.2", 0, `"check_points"`},
		{"verify sensor --record " + sensor + " --meter 48.2=50", 2, "leave the reading out"},
		{"verify sensor --record " + sensor, 2, "one --salt or one --meter"},
		{"verify sensor --record nobody --meter 48.2", 1, "nothing was recorded: "},
		{"verify sensor --record " + sensor + " --salt sugar", 1, "nothing was recorded: "},
		{"verify scale --record scale-1 --load 100=100", 1, "repeatability"},
		{"verify scale --record scale-1 --division-g 1 --load 100=100,100,100", 2, "--interval-g"},
		{"verify scale --record scale-1 --token-file /nowhere --load 100=100,100,100", 2, "--token-file"},
	} {
		code, out, errs := command(t, append(strings.Fields(c.args), "--config", file)...)
		if code != c.code || !strings.Contains(out+errs, c.says) {
			t.Errorf("%s: code %d, want %d and %q: %s%s", c.args, code, c.code, c.says, out, errs)
		}
	}
	// Once a PIN is set, a token with the right is needed.
	if code, _, errs := called(t, "902817\n", "pin", "--config", file); code != 0 {
		t.Fatalf("pin: %s", errs)
	}
	if code, _, errs := command(t, weigh...); code != 1 || !strings.Contains(errs, "--token-file") {
		t.Errorf("without a token: %d, %s", code, errs)
	}
	secrets := filepath.Join(t.TempDir(), "token")
	for may, want := range map[string]int{"report": 1, "configure": 0} {
		code, out, errs := called(t, "", "token", "--config", file, "--name", may, "--may", may)
		if code != 0 {
			t.Fatalf("token: %s", errs)
		}
		if err := os.WriteFile(secrets, []byte(out), 0o600); err != nil {
			t.Fatal(err)
		}
		if code, out, errs := command(t, append(weigh, "--token-file", secrets)...); code != want || want == 0 && !strings.Contains(out, "by configure") {
			t.Errorf("with the right %s: code %d, want %d: %s%s", may, code, want, out, errs)
		}
	}
}
