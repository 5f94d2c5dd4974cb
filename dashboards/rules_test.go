// Package dashboards holds what a Prometheus makes of a bench's metrics: alerting rules
// with their tests.
package dashboards

import (
	"os"
	"os/exec"
	"potlifed/daemon/peers"
	"testing"
)

// TestRules lets Prometheus' own tool check the rules and run their tests.
func TestRules(t *testing.T) {
	promtool := peers.Program(t, "promtool")
	for _, file := range []string{"potlifed.rules.yml", "potlifed.rules_test.yml"} {
		if _, err := os.ReadFile(file); err != nil { // and go test knows by it what the result hangs on
			t.Fatal(err)
		}
	}
	for _, args := range [][]string{{"check", "rules", "potlifed.rules.yml"}, {"test", "rules", "potlifed.rules_test.yml"}} {
		if out, err := exec.CommandContext(t.Context(), promtool, args...).CombinedOutput(); err != nil {
			t.Errorf("promtool %v: %v\n%s", args, err, out)
		}
	}
}
