package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// unit returns the path of the unit, with a program that is there in place of potlifed.
func unit(t *testing.T) string {
	t.Helper()
	text, err := shipped.ReadFile("files/potlifed.service")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "potlifed.service")
	if err := os.WriteFile(path, []byte(strings.ReplaceAll(string(text), "/usr/bin/potlifed", "/bin/true")), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestUnitIsHardened(t *testing.T) {
	needs(t, "systemd-analyze")
	ran(t, "systemd-analyze", "verify", "--man=no", unit(t))
	// In tenths: an exposure of 2.5 at most.
	out := ran(t, "systemd-analyze", "security", "--no-pager", "--offline=true", "--threshold=25", unit(t))
	lines := strings.Split(strings.TrimSpace(out), "\n")
	t.Log(lines[len(lines)-1])
}

// TestUnitLetsTheServiceWork: what hardening could take away and the service needs.
func TestUnitLetsTheServiceWork(t *testing.T) {
	text, err := os.ReadFile(unit(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"DeviceAllow=char-ttyUSB rw", "DeviceAllow=char-ttyACM rw", "DeviceAllow=char-ttyAMA rw", "DeviceAllow=char-hidraw rw", "SupplementaryGroups=dialout",
		"SystemCallFilter=adjtimex clock_adjtime setpriority", "OOMPolicy=continue", "WatchdogSec=", "StateDirectory=potlifed",
	} {
		if !strings.Contains(string(text), "\n"+want) {
			t.Errorf("the unit has no line %s", want)
		}
	}
	for _, hides := range []string{"PrivateDevices=yes", "ProtectClock=yes", "ProcSubset=pid", "PrivateNetwork=yes"} {
		if strings.Contains(string(text), "\n"+hides) {
			t.Errorf("%s takes away what the service needs", hides)
		}
	}
}
