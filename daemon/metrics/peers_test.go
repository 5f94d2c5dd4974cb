package metrics

import (
	"bytes"
	"os/exec"
	"potlifed/daemon/peers"
	"strings"
	"testing"
	"time"
)

// TestPromtool: Prometheus' own linter has nothing to say about a full scrape.
func TestPromtool(t *testing.T) {
	promtool := peers.Program(t, "promtool")
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
