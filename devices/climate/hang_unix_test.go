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
	for giveUp := time.Now().Add(time.Minute); len(h.busy) > 0; time.Sleep(time.Millisecond) {
		if time.Now().After(giveUp) {
			t.Fatal("the read that hung never came back")
		}
	}
	if s, err := h.Read(t.Context()); err != nil || s.TemperatureC != 22 {
		t.Fatalf("afterwards: %+v, %v", s, err)
	}
}

// TestAReadThatHangsForGoodIsLeftBehind: the sensor is plugged in again under another number while reads of
// the old one never come back. It is read again, and the reads that hang do not add up.
func TestAReadThatHangsForGoodIsLeftBehind(t *testing.T) {
	root := t.TempDir()
	r := newRoom(t, filepath.Join(root, "hwmon0"), air.State{TemperatureC: 20, HumidityPct: 50})
	h := opened(t, filepath.Join(root, "hwmon*"))
	h.leave = time.Millisecond
	pipe := filepath.Join(r.Path(), temperatureFile)
	if err := os.Remove(pipe); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skipf("no named pipes here: %v", err)
	}
	read := func() (air.State, error) {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
		defer cancel()
		return h.Read(ctx)
	}
	hung := 0
	for range 20 {
		switch _, err := read(); {
		case errors.Is(err, context.DeadlineExceeded):
			hung++
		case !errors.Is(err, ErrBlocked):
			t.Fatalf("hanging: %v", err)
		}
	}
	if hung != mostHanging || len(h.busy) != mostHanging {
		t.Errorf("%d reads hang, want %d", hung, mostHanging)
	}
	away := filepath.Join(root, "away")
	if err := os.Rename(r.Path(), away); err != nil {
		t.Fatal(err)
	}
	newRoom(t, filepath.Join(root, "hwmon1"), air.State{TemperatureC: 22, HumidityPct: 50})
	if _, err := read(); !errors.Is(err, ErrBlocked) {
		t.Errorf("a fourth read: %v", err)
	}
	<-h.busy // as if one had come back
	if s, err := read(); err != nil || s.TemperatureC != 22 {
		t.Errorf("plugged in again while others hang: %+v, %v", s, err)
	}
	h.busy <- struct{}{}
	w, err := os.OpenFile(filepath.Join(away, temperatureFile), os.O_WRONLY, 0) // all come back
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	for giveUp := time.Now().Add(time.Minute); len(h.busy) > 0; time.Sleep(time.Millisecond) {
		if time.Now().After(giveUp) {
			t.Fatal("the reads that hung never came back")
		}
	}
}

// TestWhenAHangingReadIsLeftBehind: after a minute, then after two, and never a fourth.
func TestWhenAHangingReadIsLeftBehind(t *testing.T) {
	f, now := folder{leave: leaveAfter, busy: make(chan struct{}, mostHanging)}, time.Now()
	for _, c := range []struct {
		after time.Duration
		want  bool
	}{{0, true}, {0, false}, {59 * time.Second, false}, {time.Minute, true}, {2 * time.Minute, false}, {3 * time.Minute, true}, {time.Hour, false}} {
		if f.begin(now.Add(c.after)) != c.want {
			t.Errorf("after %v a read begins: %v", c.after, !c.want)
		}
	}
}
