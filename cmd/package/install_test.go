package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// scaleOnTheNetwork sends the weight of an empty pan until the test ends.
func scaleOnTheNetwork(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	t.Cleanup(func() { cancel(); l.Close(); <-done })
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			for err == nil && ctx.Err() == nil {
				_, err = fmt.Fprint(c, "ST,GS,+00000.0  g\r\n")
				select {
				case <-ctx.Done():
				case <-time.After(100 * time.Millisecond):
				}
			}
			c.Close()
		}
	}()
	return l.Addr().String()
}

// TestInstallUpgradeRunRemove plays testdata/install.sh.
func TestInstallUpgradeRunRemove(t *testing.T) {
	if testing.Short() {
		t.Skip("installs packages")
	}
	needs(t, "dpkg", "unshare", "systemd-analyze", "systemd-sysusers", "setpriv")
	if out, err := exec.CommandContext(t.Context(), "unshare", "--mount", "sh", "-c",
		`d=$(mktemp -d) && mount -t tmpfs none "$d" && mkdir "$d/u" "$d/w" "$d/m" && mount -t overlay o -o "lowerdir=/,upperdir=$d/u,workdir=$d/w" "$d/m" && echo "$d"`).CombinedOutput(); err != nil {
		t.Skipf("this user may not mount a copy of the system, which takes root: %v: %s", err, out)
	} else {
		os.Remove(strings.TrimSpace(string(out)))
	}
	journal, err := filepath.Abs("../../daemon/journal/testdata/old/journal.sqlite.gz")
	if err != nil {
		t.Fatal(err)
	}
	first, second := packaged(t, work.dir, "0.1.0"), packaged(t, work.dir, "0.1.1")
	out, err := exec.CommandContext(t.Context(), "unshare", "--mount", "sh", "testdata/install.sh", t.TempDir(), first, second, journal, scaleOnTheNetwork(t)).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "== done") {
		t.Fatalf("%v\n%s", err, out)
	}
	if !strings.Contains(string(out), "the journal stays in /var/lib/potlifed") {
		t.Errorf("purging does not say where the journal stays:\n%s", out)
	}
	t.Logf("%s", out)
}
