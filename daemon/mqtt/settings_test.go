package mqtt

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"potlifed/daemon/config"
	"potlifed/daemon/topics"
)

// golden compares with a file under testdata; -update rewrites it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; got:\n%s\nwant:\n%s", path, got, want)
	}
}

func TestSettingsFromShop(t *testing.T) {
	dir := t.TempDir()
	password := filepath.Join(dir, "password")
	if err := os.WriteFile(password, []byte("secret word\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	shop := config.Shop{
		Bench:  "bench-1",
		MQTT:   config.MQTT{URLs: []string{"mqtt://broker:1883"}, TopicPrefix: "potlife", Username: "u", PasswordFile: password, Commands: true},
		Lights: []config.Light{{ID: "light-1", Reads: []string{"json", "colour"}}},
	}
	s, err := FromShop(shop)
	if err != nil {
		t.Fatal(err)
	}
	if s.Password != "secret word" || s.Username != "u" || !s.Commands || len(s.Lights) != 1 || s.Lights[0].Reads[1] != topics.FormColour {
		t.Errorf("settings %+v", s)
	}
	if again, err := FromShop(shop); err != nil || again.clientID() != s.clientID() || !strings.HasPrefix(s.clientID("light", "light-1", "json"), "potlifed-bench-1-") {
		t.Errorf("client ids %q, %q", s.clientID(), s.clientID("light", "light-1", "json"))
	}
	elsewhere := s
	elsewhere.Machine = "another"
	if elsewhere.clientID() == s.clientID() {
		t.Error("two computers with one configuration share a client id")
	}

	shop.MQTT.PasswordFile = filepath.Join(dir, "none")
	shop.MQTT.URLs, shop.MQTT.CAFile = []string{"mqtts://broker:8883"}, password // no certificate in it
	_, err = FromShop(shop)
	if err == nil || !strings.Contains(err.Error(), "password_file") || !strings.Contains(err.Error(), "ca_file") {
		t.Errorf("error %v, want one that names both files", err)
	}
}
