package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"potlifed/daemon"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
)

// withClock names the file of the clock with which the test binary runs the service. It then is
// the program but for its clock and its flags.
const withClock = "POTLIFED_TEST_CLOCK"

// fileClock is a clock that a file describes, so that a test can step it, change its speed and
// boot the computer while another process reads it.
type fileClock struct {
	path string
	is   clockFile
	read atomic.Pointer[readClock] // by the service
}

// readClock is what was read of the file, and when.
type readClock struct {
	is clockFile
	at int64
}

// readAgain is how long the service goes by what it has read.
const readAgain = 20 * time.Millisecond

// clockFile is the time that a clock shows at a moment of this computer, and how fast it runs.
type clockFile struct {
	Real   int64 // of this computer, Unix time in nanoseconds
	Wall   int64 // Unix time in nanoseconds
	Mono   time.Duration
	Boot   string
	Synced bool
	Speed  float64
}

var _ clock.Clock = (*fileClock)(nil)

func (c clockFile) at(real int64) clock.Instant {
	gone := time.Duration(float64(real-c.Real) * c.Speed)
	return clock.Instant{Wall: time.Unix(0, c.Wall).UTC().Add(gone), Mono: c.Mono + gone, Boot: c.Boot, Synced: c.Synced}
}

func newFileClock(t testing.TB, speed float64) *fileClock {
	t.Helper()
	now := time.Now().UnixNano()
	c := &fileClock{path: filepath.Join(t.TempDir(), "clock"), is: clockFile{Real: now, Wall: now, Mono: time.Hour, Boot: "boot-1", Synced: true, Speed: speed}}
	c.change(func(*clockFile) {})
	return c
}

// change changes what the clock shows from now on.
func (c *fileClock) change(how func(*clockFile)) {
	real := time.Now().UnixNano()
	now := c.is.at(real)
	c.is.Real, c.is.Wall, c.is.Mono = real, now.Wall.UnixNano(), now.Mono
	how(&c.is)
	b, err := json.Marshal(c.is)
	if err == nil {
		err = os.WriteFile(c.path+".new", b, 0o600)
	}
	if err == nil {
		err = os.Rename(c.path+".new", c.path)
	}
	if err != nil {
		panic(err) // a test's own folder
	}
}

// steps sets the wall clock to another time.
func (c *fileClock) steps(by time.Duration) { c.change(func(is *clockFile) { is.Wall += int64(by) }) }

// boots is what the clock shows after the power was away for some time, half a minute after the
// boot. With a lag the wall clock is behind and counts as not set.
func (c *fileClock) boots(away, lag time.Duration) {
	c.change(func(is *clockFile) {
		is.Wall += int64(away - lag)
		is.Mono, is.Boot, is.Synced = 30*time.Second, is.Boot+"+", lag == 0
	})
}

// isSet is what the clock shows after the network has set it.
func (c *fileClock) isSet(by time.Duration) {
	c.change(func(is *clockFile) { is.Wall += int64(by); is.Synced = true })
}

func (c *fileClock) now() clock.Instant { return c.is.at(time.Now().UnixNano()) }

// Now returns the time by the file.
func (c *fileClock) Now() clock.Instant {
	real := time.Now().UnixNano()
	if last := c.read.Load(); last != nil && real-last.at < int64(readAgain) {
		return last.is.at(real)
	}
	b, err := os.ReadFile(c.path)
	var is clockFile
	if err == nil {
		err = json.Unmarshal(b, &is)
	}
	if err != nil {
		panic(err)
	}
	c.read.Store(&readClock{is, real})
	return is.at(real)
}

// shortestWait bounds how often the service looks at a fast clock.
const shortestWait = 50 * time.Millisecond

// Real returns how long d takes at this speed; at a high speed it is longer.
func (c *fileClock) Real(d time.Duration) time.Duration {
	if c.is.Speed == 1 {
		return d
	}
	return max(time.Duration(float64(d)/c.is.Speed), shortestWait)
}

// Took returns how long something took that took d by this clock.
func (c *fileClock) Took(d time.Duration) time.Duration {
	return time.Duration(float64(d) / c.is.Speed)
}

// Lapse returns how far this clock moves on during d.
func (c *fileClock) Lapse(d time.Duration) time.Duration {
	return time.Duration(float64(d) * c.is.Speed)
}

// runByClock runs the service of a configuration with the clock of a file. On SIGUSR1 it writes its
// goroutines and its heap to the file with the ending .size.
func runByClock(path, configuration string, out io.Writer) error {
	b, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	c := &fileClock{path: path}
	if err := json.Unmarshal(b, &c.is); err != nil {
		return err
	}
	shop, err := config.Read(configuration)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	sizes := make(chan os.Signal, 1)
	signal.Notify(sizes, syscall.SIGUSR1)
	go func() {
		for range sizes {
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			_ = os.WriteFile(path+".size", fmt.Appendf(nil, "%d %d\n", runtime.NumGoroutine(), m.HeapAlloc), 0o600)
		}
	}()
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	o := daemon.Options{
		Shop: shop, Version: "test", Clock: c, Log: slog.New(slog.NewTextHandler(out, nil)),
		ReadShop: func() (config.Shop, error) { return config.Read(configuration) }, Hangup: hangup,
	}
	if c.is.Speed != 1 {
		o.TimeLapse = c.is.Speed
	}
	return daemon.Run(ctx, o)
}

// startByClock starts the service with a clock of the test's own and waits until it is ready.
func startByClock(t testing.TB, c *fileClock, configuration string) *program {
	t.Helper()
	p := launchCommand(t, "env", withClock+"="+c.path, os.Args[0], configuration)
	p.ready()
	return p
}
