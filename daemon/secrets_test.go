package daemon

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

func TestASecretThatEverybodyMayReadIsReported(t *testing.T) {
	path := filepath.Join(t.TempDir(), "mqtt-password")
	s := Secret{"mqtt.password_file", path}
	if err := s.Check(); err != nil {
		t.Errorf("a file that is missing: %v", err)
	}
	if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	for mode, open := range map[os.FileMode]bool{0o600: false, 0o640: false, 0o660: false, 0o644: true, 0o604: true, 0o602: true} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		err := s.Check()
		if (err != nil) != open {
			t.Errorf("mode %o: %v", mode, err)
		}
		if open && !strings.Contains(err.Error(), "chmod 0640 "+path) {
			t.Errorf("%v does not say what to do", err)
		}
	}
}

// TestTheStartWarnsOfOpenSecrets lets the service start with an access file that everybody may read.
func TestTheStartWarnsOfOpenSecrets(t *testing.T) {
	o := settings(t, `""`)
	var out strings.Builder
	log := &lockedWriter{to: &out}
	o.Log = slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelWarn}))
	if err := os.WriteFile(filepath.Join(o.Shop.DataDir, "access.json"), []byte("{}"), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	o.Ready = func(Addresses) { stop() }
	if err := Run(ctx, o); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(log.text(), "a secret is open to everybody") || !strings.Contains(log.text(), "access.json has the mode 0644") {
		t.Errorf("the log says\n%s", log.text())
	}
}

// lockedWriter is written by several goroutines.
type lockedWriter struct {
	mu sync.Mutex
	to *strings.Builder
}

// Write keeps what is written.
func (w *lockedWriter) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.to.Write(p)
}

func (w *lockedWriter) text() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.to.String()
}
