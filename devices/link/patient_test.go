package link

import (
	"context"
	"errors"
	"io"
	"os"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// deaf is a device whose driver hangs in a read until it is freed.
type deaf struct {
	free   chan struct{}
	closed chan struct{}
}

func (d deaf) Read([]byte) (int, error) {
	<-d.free
	return 0, io.EOF
}
func (d deaf) Write(p []byte) (int, error) { return len(p), nil }
func (d deaf) Close() error                { close(d.closed); return nil }

// talking is a device that sends a line each 100 ms.
type talking struct{}

func (talking) Read(p []byte) (int, error) {
	time.Sleep(100 * time.Millisecond)
	return copy(p, "1.0 g\r\n"), nil
}
func (talking) Write(p []byte) (int, error) { return len(p), nil }
func (talking) Close() error                { return nil }

// A read that hangs for good is left behind, and the port is opened again: by then the device was plugged in again.
func TestAHangingReadIsLeftBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		d := deaf{make(chan struct{}), make(chan struct{})}
		began, opened := time.Now(), 0
		var heard time.Duration
		var lost error
		err := runWith(ctx, Settings{Port: "/dev/x"}.withDefaults(), Handler{
			Change: func(c Change) {
				if c.Kind == Lost {
					lost = c.Err
				}
			},
			Bytes: func(p []byte) bool {
				heard = time.Since(began)
				cancel()
				return true
			},
		}, func(context.Context, Settings) (io.ReadWriteCloser, error) {
			if opened++; opened == 1 {
				return d, nil
			}
			return talking{}, nil
		})
		if err != nil || !errors.Is(lost, ErrHangs) || !errors.Is(lost, ErrLost) || heard < hangsAfter || heard > hangsAfter+5*time.Second {
			t.Errorf("%v; lost %v, heard after %v", err, lost, heard)
		}
		close(d.free)
		<-d.closed // the read came back, and its stream was closed
		synctest.Wait()
	})
}

// Openings that hang do not add up: three at most are begun, and a fourth when one has come back.
func TestHangingOpeningsDoNotAddUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		free, begun := make(chan struct{}), new(atomic.Int32)
		done := make(chan struct{})
		go func() {
			defer close(done)
			_ = runWith(ctx, Settings{Port: "/dev/x"}.withDefaults(), Handler{}, func(context.Context, Settings) (io.ReadWriteCloser, error) {
				begun.Add(1)
				<-free
				return nil, ErrAbsent
			})
		}()
		time.Sleep(time.Hour)
		synctest.Wait()
		if n := begun.Load(); n != mostHanging {
			t.Errorf("%d openings hang, want %d", n, mostHanging)
		}
		free <- struct{}{}
		time.Sleep(time.Hour)
		synctest.Wait()
		if n := begun.Load(); n != mostHanging+1 {
			t.Errorf("%d openings, want one more", n)
		}
		cancel()
		time.Sleep(time.Minute)
		select {
		case <-done:
		default:
			t.Error("the end of the context waits for what hangs")
		}
		close(free)
		<-done
	})
}

// A pipe that nobody writes to is no serial port, and says so at once.
func TestAPipeIsNoSerialPort(t *testing.T) {
	name := t.TempDir() + "/scale"
	if err := mkfifo(name); err != nil {
		t.Skipf("no named pipes here: %v", err)
	}
	began := time.Now()
	st, err := Open(t.Context(), Settings{Port: name}.withDefaults())
	if err == nil {
		_ = st.Close()
	}
	if !errors.Is(err, ErrNotSerial) || time.Since(began) > time.Minute {
		t.Errorf("%v after %v", err, time.Since(began))
	}
	_ = os.Remove(name)
}
