package peers

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// result is a test that records how it ended.
type result struct {
	testing.TB
	skipped, failed string
}

func (r *result) Helper() {}
func (r *result) Skipf(format string, args ...any) {
	r.skipped = fmt.Sprintf(format, args...)
	runtime.Goexit()
}
func (r *result) Fatalf(format string, args ...any) {
	r.failed = fmt.Sprintf(format, args...)
	runtime.Goexit()
}

// run runs f as a test would and returns how it ended.
func run(t *testing.T, f func(t testing.TB)) *result {
	r := &result{TB: t}
	done := make(chan struct{})
	go func() {
		defer close(done)
		f(r)
	}()
	<-done
	return r
}

func TestProgramThatIsMissing(t *testing.T) {
	look := func(t testing.TB) { Program(t, "no-such-program", "nor-this-one") }
	t.Setenv(variable, "")
	if r := run(t, look); !strings.Contains(r.skipped, "no-such-program or nor-this-one is not installed") || r.failed != "" {
		t.Errorf("without the variable: %+v", r)
	}
	t.Setenv(variable, require)
	if r := run(t, look); r.skipped != "" || !strings.Contains(r.failed, "no-such-program") || !strings.Contains(r.failed, "POTLIFED_PEERS=require") {
		t.Errorf("where peers are required: %+v", r)
	}
}

func TestProgramThatIsInstalled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "tool")
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", filepath.Dir(path))
	if got := Program(t, "no-such-program", "tool"); got != path {
		t.Errorf("%q, want %q", got, path)
	}
}

func TestFile(t *testing.T) {
	const name = "POTLIFED_TEST_FILE"
	read := func(t testing.TB) { File(t, name) }
	t.Setenv(variable, "")
	t.Setenv(name, "")
	if r := run(t, read); !strings.Contains(r.skipped, name) {
		t.Errorf("without the variable: %+v", r)
	}
	t.Setenv(name, filepath.Join(t.TempDir(), "none"))
	if r := run(t, read); r.failed == "" {
		t.Error("a file that cannot be read is no failure")
	}
	path := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv(name, path)
	if got := string(File(t, name)); got != "x" {
		t.Errorf("read %q", got)
	}
}
