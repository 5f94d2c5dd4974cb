package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPlantKit: what plant writes is right by check, and an edit that makes two benches the same is found.
func TestPlantKit(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	benches := write("benches.yaml", `- {id: bench-1, presses: [press-1], address: "bench-1.example:9755", scale: /dev/ttyUSB0, sensor: /sys/class/hwmon/hwmon0}
- {id: bench-2, presses: [press-2], address: "bench-2.example:9755", scale: /dev/ttyUSB0, sensor: /sys/class/hwmon/hwmon0}
`)
	recipes := write("book.yaml", `inks: [{id: gloss, hardener_ratio: "5:1", pot_life: {shortest: 4h, longest: 6h}}]`+"\n")
	out := filepath.Join(dir, "north")
	args := []string{"plant", "--benches", benches, "--recipes", recipes, "--broker", "mqtts://broker.example", "--prefix", "plant/north", "--out", out}
	code, said, errs := command(t, args...)
	if code != 0 || !strings.Contains(said, "2 benches") {
		t.Fatalf("exit %d: %s%s", code, said, errs)
	}
	password, err := os.ReadFile(filepath.Join(out, "benches", "bench-1", "mqtt-password"))
	if err != nil || strings.Contains(said+errs, strings.TrimSpace(string(password))) {
		t.Errorf("%v; it said\n%s%s", err, said, errs)
	}
	if code, said, errs := command(t, "check", "--offline", out); code != 0 || !strings.Contains(said, "2 configurations checked") {
		t.Errorf("check: exit %d: %s%s", code, said, errs)
	}
	second := filepath.Join(out, "benches", "bench-2", "potlifed.yaml")
	text, err := os.ReadFile(second)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(second, []byte(strings.Replace(string(text), "bench: bench-2", "bench: bench-1", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, said, _ := command(t, "check", "--offline", out); code != 1 || !strings.Contains(said, "the bench of ") {
		t.Errorf("two of a name: exit %d: %s", code, said)
	}
	write("book.yaml", "inks: [{id: gloss}]\n")
	if code, _, errs := command(t, args...); code != 2 || !strings.Contains(errs, "recipes.yaml:1:") {
		t.Errorf("a wrong book: exit %d: %s", code, errs)
	}
	for want, args := range map[string][]string{
		"--benches is missing":   {"plant"},
		"--prefix \"a.b\"":       append(args, "--prefix", "a.b"),
		"goes with --offline":    {"check", out},
		"there is no potlifed.y": {"check", "--offline", t.TempDir()},
	} {
		if code, _, errs := command(t, args...); code != 2 || !strings.Contains(errs, want) {
			t.Errorf("%v: exit %d: %s", args, code, errs)
		}
	}
}
