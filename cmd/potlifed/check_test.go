package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"potlifed/daemon/request"
	"potlifed/devices/link"
)

func TestCheckNamesWhatIsThere(t *testing.T) {
	t.Parallel()
	m := newMosquitto(t)
	b := newHardware(t)
	file := b.configuration(t, m.configuration())
	if err := os.MkdirAll(filepath.Join(b.dir, "data"), 0o700); err != nil {
		t.Fatal(err)
	}
	code, out, errs := command(t, "check", "--config", file)
	if code != 0 {
		t.Fatalf("exit %d\n%s%s", code, out, errs)
	}
	for _, want := range []string{"ok     configuration", "ok     access", "ok     scale scale-1", "0 g (status-first)", "ok     sensor bench-air", "20.0 °C, 50.0 %", "ok     mqtt", "page   http://127.0.0.1:"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

func TestCheckSaysWhatToDo(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "mqtt: {url: \"mqtt://127.0.0.1:1\"}\n")
	held, err := link.Open(t.Context(), link.Settings{Port: b.scale.Port()})
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	if err := b.room.Fail(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(b.dir, "data"), nil, 0o600); err != nil { // a file where the folder should be
		t.Fatal(err)
	}
	code, out, errs := command(t, "check", "--config", file)
	if code != 1 {
		t.Errorf("exit %d, want 1: it could not be done\n%s", code, errs)
	}
	for _, want := range []string{"fault  scale scale-1", "another program holds", "fault  sensor bench-air", "fault  mqtt", "refused", "fault  data_dir"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// TestCheckFindsABadWebConfigFile: the service would not start with it.
func TestCheckFindsABadWebConfigFile(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	bad := strings.Replace(string(text), `http: {listen: "127.0.0.1:0"}`, `http: {listen: "127.0.0.1:0", web_config_file: /no-such/web.yml}`, 1)
	if err := os.WriteFile(file, []byte(bad), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"check", "--config", file}, {"check", "--config", file, "--offline"}} {
		code, out, errs := command(t, args...)
		if code != 1 || !strings.Contains(out, "fault  web_config_file") || !strings.Contains(out, "/no-such/web.yml") {
			t.Errorf("exit %d, want 1 and the fault\n%s%s", code, out, errs)
		}
	}
}

// TestCheckOfTheExample: before the service has ever run, the example is found to be right,
// but for the devices that are not on this computer. Its mqtt.url is its own broker, which
// cannot answer yet.
func TestCheckOfTheExample(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "potlifed.example.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	example := strings.NewReplacer(":1883", fmt.Sprint(":", freePort(t)), ":9755", fmt.Sprint(":", freePort(t)), "/var/lib/potlifed", filepath.Join(dir, "not", "there")).Replace(string(text))
	file := filepath.Join(dir, "potlifed.yaml")
	if err := os.WriteFile(file, []byte(example), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs := command(t, "check", "--config", file, "--offline")
	if code != 0 || errs != "" || strings.Contains(out, "fault") {
		t.Errorf("--offline: exit %d\n%s%s", code, out, errs)
	}
	code, out, errs = command(t, "check", "--config", file)
	var faults []string
	for line := range strings.Lines(out) {
		if rest, ok := strings.CutPrefix(line, "fault  "); ok {
			faults = append(faults, strings.Join(strings.Fields(rest)[:2], " "))
		}
	}
	if got, want := fmt.Sprint(faults), "[scale scale-1 sensor bench-air]"; got != want || code != 1 || !strings.Contains(errs, "2 faults") {
		t.Errorf("faults of %s, want %s; exit %d\n%s%s", got, want, code, out, errs)
	}
	if !strings.Contains(out, "is the built-in broker, which starts with the service") {
		t.Errorf("the built-in broker is not recognised:\n%s", out)
	}
	if _, err := os.Stat(filepath.Join(dir, "not")); err == nil {
		t.Error("check left a folder behind")
	}
}

// TestCheckOfTheOwnBroker: the built-in broker under another of its names, and with the
// wrong scheme.
func TestCheckOfTheOwnBroker(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	port := fmt.Sprint(freePort(t))
	listen := fmt.Sprintf("broker: {listen: \"127.0.0.1:%s\"}\n", port)
	for url, want := range map[string]string{
		"mqtt://localhost:" + port:  "ok     mqtt ",
		"mqtts://127.0.0.1:" + port: "write mqtt:// in mqtt.url",
	} {
		file := b.configuration(t, listen+fmt.Sprintf("mqtt: {url: %q}\n", url))
		if _, out, errs := command(t, "check", "--config", file); !strings.Contains(out, want) {
			t.Errorf("%s: no %q in\n%s%s", url, want, out, errs)
		}
	}
}

// TestUsualConfiguration: every command that reads the configuration has the same usual
// place for it, and says what to do when nothing is there.
func TestUsualConfiguration(t *testing.T) {
	for _, args := range [][]string{{"run"}, {"check"}, {"pin"}, {"token"}, {"token", "list"}, {"token", "revoke"}, {"learn"}} {
		if code, out, errs := command(t, append(args, "--help")...); code != 0 || !strings.Contains(out, `(default "/etc/potlifed/potlifed.yaml")`) {
			t.Errorf("%v: exit %d\n%s%s", args, code, out, errs)
		}
	}
	if _, err := os.Stat(usualConfiguration); err == nil {
		t.Skipf("%s exists on this computer", usualConfiguration)
	}
	for _, args := range [][]string{{"run"}, {"check"}, {"pin"}, {"token", "--name", "a", "--may", "mix"}, {"token", "list"}, {"token", "revoke", "a"}, {"learn"}} {
		code, _, errs := command(t, args...)
		if code != 2 || !strings.Contains(errs, "/etc/potlifed/potlifed.yaml") || !strings.Contains(errs, "--config FILE") || strings.Contains(errs, "open ") {
			t.Errorf("%v: exit %d, %s", args, code, errs)
		}
	}
}

// TestFirstRun: without a configuration, run says how to try the demo and where the example is,
// and that is in the source.
func TestFirstRun(t *testing.T) {
	if _, err := os.Stat(usualConfiguration); err == nil {
		t.Skipf("%s exists on this computer", usualConfiguration)
	}
	code, out, errs := command(t, "run")
	for _, want := range []string{"potlifed demo", "testdata/potlifed.example.yaml", "potlifed check", "--config FILE", usualConfiguration} {
		if code != 2 || out != "" || !strings.Contains(errs, want) {
			t.Errorf("exit %d, no %q in\n%s", code, want, errs)
		}
	}
	if _, err := os.Stat("../../testdata/potlifed.example.yaml"); err != nil {
		t.Error(err)
	}
}

// TestHelpPromisesNothing: no help mentions what does not exist yet, and each right has its
// meaning.
func TestHelpPromisesNothing(t *testing.T) {
	var look func(c *cobra.Command)
	look = func(c *cobra.Command) {
		text := c.Short + c.Long + c.UsageString()
		for _, promise := range []string{"not yet", "later version"} {
			if strings.Contains(text, promise) {
				t.Errorf("%s says %q", c.CommandPath(), promise)
			}
		}
		if c.Short == "" || c.Short[0] < 'A' || c.Short[0] > 'Z' {
			t.Errorf("%s: the summary %q does not begin with a capital", c.CommandPath(), c.Short)
		}
		for _, below := range c.Commands() {
			look(below)
		}
	}
	look(rootCommand())
	for _, right := range request.Rights() {
		if rightMeanings[right] == "" {
			t.Errorf("the help of token does not say what %s allows", right)
		}
	}
}

// What can hardly be meant is questioned, and is no fault.
func TestCheckQuestionsTheUnusual(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "  - {id: dial-odd, hardener_ratio: \"1:4\", pot_life: {about: 40m}}\n")
	code, out, errs := command(t, "check", "--config", file, "--offline")
	if code != 0 || strings.Count(out, "doubt  configuration") != 2 || !strings.Contains(out, "reversed?") || !strings.Contains(out, "is the unit right") {
		t.Errorf("exit %d\n%s%s", code, out, errs)
	}
}

// TestCheckOfADottedPrefix: a bench that has not run yet gets no dots into its topics.
func TestCheckOfADottedPrefix(t *testing.T) {
	t.Parallel()
	for prefix, want := range map[string]bool{"plant/hall-1": false, "plant/hall.1": true} {
		b := newHardware(t)
		file := b.configuration(t, "mqtt: {url: \"mqtt://127.0.0.1:1\", topic_prefix: "+prefix+"}\n")
		_, out, _ := command(t, "check", "--config", file, "--offline")
		if got := strings.Contains(out, "fault  mqtt"); got != want {
			t.Errorf("%s: a fault %v, want %v\n%s", prefix, got, want, out)
		}
	}
}
