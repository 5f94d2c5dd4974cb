package metrics

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// peer finds a program that a test needs. Without it the test is skipped, or fails
// where POTLIFED_PEERS=require says that it has to run.
func peer(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("POTLIFED_PEERS") == "require" {
			t.Fatalf("%s is required and missing: %v", name, err)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// TestPromtool: Prometheus' own linter has nothing to say about a full scrape.
func TestPromtool(t *testing.T) {
	promtool := peer(t, "promtool")
	m := New(settings(), newStand(shop(3)))
	m.ObserveReadingToPublish(time.Millisecond)
	m.ObserveJournalWrite(time.Millisecond)
	body, _ := scrape(t, m.Handler(quiet()), "")
	cmd := exec.CommandContext(t.Context(), promtool, "check", "metrics")
	cmd.Stdin = strings.NewReader(body)
	if out, err := cmd.CombinedOutput(); err != nil || len(bytes.TrimSpace(out)) > 0 {
		t.Errorf("promtool: %v\n%s", err, out)
	}
}
