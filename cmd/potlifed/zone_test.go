package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// TestOneClock: the pages, the labels, the alarms' texts and the numbers of batches use the time
// zone of the shop, whatever that of the machine is. The machine of the test needs no zones.
func TestOneClock(t *testing.T) {
	t.Setenv("TZ", "America/St_Johns")
	t.Setenv("ZONEINFO", "/nowhere")
	dir := t.TempDir()
	file := filepath.Join(dir, "potlifed.yaml")
	text := fmt.Sprintf(`bench: bench-1
data_dir: %s
http: {listen: "127.0.0.1:0"}
clock: assume
time_zone: Pacific/Auckland
scales: [{id: scale-1, port: %s, division_g: 0.1, zone: hall}]
sensors: [{id: hall-air, zone: hall, path: /nowhere}]
inks: [{id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}]
`, filepath.Join(dir, "data"), filepath.Join(dir, "not-there"))
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	p := start(t, file)
	shop, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	mixed := time.Now().Add(-time.Minute).Truncate(time.Second)
	made, problem := p.post("batches", map[string]any{
		"ink": "dial-satin", "mixed_at": mixed.UTC().Format(time.RFC3339),
		"components": []map[string]any{{"part": "ink", "g": 60}, {"part": "hardener", "g": 12}},
	})
	if problem != nil {
		t.Fatal(problem)
	}
	if day := mixed.In(shop).Format("0102"); !strings.HasPrefix(made.ID, day) && !strings.HasPrefix(made.ID, time.Now().In(shop).Format("0102")) {
		t.Errorf("batch %s, want a number of %s", made.ID, day)
	}
	if label := p.text("/batches/" + made.ID + "/label.svg"); !strings.Contains(label, "mixed "+mixed.In(shop).Format("15:04")) && !strings.Contains(label, mixed.In(shop).Format("Mon 15:04")) {
		t.Errorf("mixed at %s by the shop's clock; the label says %s", mixed.In(shop).Format("15:04"), label[:min(len(label), 700)])
	}
	texts := regexp.MustCompile(`/assets/lib/texts\.[0-9a-f]+\.js`).FindString(p.text("/"))
	if texts == "" || !strings.Contains(p.text(texts), `"timeZone":"Pacific/Auckland"`) {
		t.Errorf("the pages are not told the zone: %q", texts)
	}
}
