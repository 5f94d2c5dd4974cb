package page

import (
	"os/exec"
	"path/filepath"
	"potlifed/daemon/peers"
	"testing"
)

// TestModules runs the tests of the modules, *.test.mjs beside them, on Node.js. Without it the
// test is skipped, or fails where peers are required.
func TestModules(t *testing.T) {
	node := peers.Program(t, "node")
	tests, err := filepath.Glob("*/*.test.mjs")
	if err != nil || len(tests) == 0 {
		t.Fatalf("no tests of modules: %v", err)
	}
	out, err := exec.CommandContext(t.Context(), node, append([]string{"--test"}, tests...)...).CombinedOutput()
	if err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
