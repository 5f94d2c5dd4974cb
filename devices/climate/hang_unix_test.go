//go:build unix

package climate

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"potlifed/model/air"
)

// A read that hangs in the kernel: the file is a pipe that nobody writes to.
func TestHangingReadDoesNotHold(t *testing.T) {
	r := newRoom(t, filepath.Join(t.TempDir(), "hwmon0"), air.State{TemperatureC: 20, HumidityPct: 50})
	h := opened(t, r.Path())
	pipe := filepath.Join(r.Path(), temperatureFile)
	if err := os.Remove(pipe); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skipf("no named pipes here: %v", err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	if _, err := h.Read(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("hanging: %v", err)
	}
	if _, err := h.Read(t.Context()); !errors.Is(err, ErrBlocked) {
		t.Errorf("while it hangs: %v, want ErrBlocked", err)
	}
	// The writer comes, and the sensor is usable again.
	w, err := os.OpenFile(pipe, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(pipe); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Close(), r.Set(air.State{TemperatureC: 22, HumidityPct: 50})); err != nil {
		t.Fatal(err)
	}
	select {
	case h.busy <- struct{}{}: // the hanging read has come back
		<-h.busy
	case <-time.After(time.Minute):
		t.Fatal("the read that hung never came back")
	}
	if s, err := h.Read(t.Context()); err != nil || s.TemperatureC != 22 {
		t.Fatalf("afterwards: %+v, %v", s, err)
	}
}
