// Package clock reads the time the way a computer without a battery clock has to:
// the wall clock together with what does not jump (CLOCK_BOOTTIME and the kernel's
// boot id), and with the kernel's word on whether the wall clock was ever set.
package clock

import (
	"fmt"
	"os"
	"strings"
	"time"
)

// Instant is one reading of the clocks.
type Instant struct {
	Wall   time.Time     // UTC, without Go's monotonic part
	Boot   string        // the kernel's boot id
	Mono   time.Duration // CLOCK_BOOTTIME: time since that boot, sleep included
	Synced bool          // the wall clock is known to be set
}

// Clock tells the time. It may be called from any goroutine.
type Clock interface{ Now() Instant }

// System is the computer's own clock.
type System struct {
	boot    string
	assumed bool
}

var _ Clock = (*System)(nil)

// NewSystem returns the system's clock. With assume the wall clock counts as set, as
// where a battery keeps it; else the kernel is asked each time.
func NewSystem(assume bool) (*System, error) {
	boot, err := bootID()
	if err != nil {
		return nil, fmt.Errorf("clock: boot id: %w", err)
	}
	return &System{boot: boot, assumed: assume}, nil
}

// Now reads the clocks.
func (s *System) Now() Instant {
	mono := sinceBoot()
	return Instant{
		Wall: time.Now().UTC().Round(0), Boot: s.boot, Mono: mono,
		Synced: s.assumed || kernelSynced(),
	}
}

// timesyncFlag is touched by systemd-timesyncd when it has set the clock. It says so
// where the kernel may not be asked (adjtimex is refused in some sandboxes).
const timesyncFlag = "/run/systemd/timesync/synchronized"

func flagged() bool {
	_, err := os.Stat(timesyncFlag)
	return err == nil
}

func readLine(path string) (string, error) {
	b, err := os.ReadFile(path)
	return strings.TrimSpace(string(b)), err
}

// Real says how long one has to wait for a clock to have moved on by d: d itself, but
// for a clock that runs faster or slower than time does and says so by a method of
// this name.
func Real(c Clock, d time.Duration) time.Duration {
	if paced, ok := c.(interface {
		Real(d time.Duration) time.Duration
	}); ok {
		return paced.Real(d)
	}
	return d
}

// Lapse says how far a clock moves on while d of real time goes by: d itself, but for a
// clock that says otherwise by a method of this name. A limit of silence is one of real
// time: what a busy computer delays must not look silent because time runs faster.
func Lapse(c Clock, d time.Duration) time.Duration {
	if paced, ok := c.(interface {
		Lapse(d time.Duration) time.Duration
	}); ok {
		return paced.Lapse(d)
	}
	return d
}

// Took says how long what took d by a clock has really taken: d itself, but for a
// clock that says otherwise by a method of this name. How fast the program itself is
// must not look slow because time is.
func Took(c Clock, d time.Duration) time.Duration {
	if paced, ok := c.(interface {
		Took(d time.Duration) time.Duration
	}); ok {
		return paced.Took(d)
	}
	return d
}
