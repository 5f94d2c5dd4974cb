// Package clock reads the time on a computer that may have no clock with a battery. It reads the
// wall clock together with two values that do not jump (CLOCK_BOOTTIME and the kernel's boot
// id), and whether the kernel knows that the wall clock was set.
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

// Clock reads the time. It may be called from any goroutine.
type Clock interface{ Now() Instant }

// System is the clock of the computer.
type System struct {
	boot    string
	assumed bool
}

var _ Clock = (*System)(nil)

// NewSystem returns the system's clock. With assume the wall clock counts as set, as where a
// battery keeps it; otherwise the kernel is asked each time.
func NewSystem(assume bool) (*System, error) {
	boot, err := bootID()
	if err != nil {
		return nil, fmt.Errorf("clock: boot id: %w", err)
	}
	return &System{boot: boot, assumed: assume}, nil
}

// Now returns the present instant.
func (s *System) Now() Instant {
	mono, wall := sinceBoot(), time.Now().UTC().Round(0)
	return Instant{Wall: wall, Boot: s.boot, Mono: mono, Synced: possible(wall) && (s.assumed || kernelSynced())}
}

// earliest is a time before the first version of this program.
var earliest = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// possible reports whether a wall clock may be right, whatever the kernel says about it. A computer
// without a battery starts in 1970. Where something on the way keeps seconds of 32 bits with a sign, it is in 1901
// from 2038-01-19T03:14:08Z on. Go's runtime reads 32 bits without a sign on 32-bit ARM (1.26): there the clock is
// right until 2106-02-07T06:28:15Z, and in 1970 after it.
func possible(wall time.Time) bool { return !wall.Before(earliest) }

// timesyncFlag is a file that systemd-timesyncd writes when it has set the clock. It is used
// where the kernel must not be asked (adjtimex is refused in some sandboxes).
const timesyncFlag = "/run/systemd/timesync/synchronized"

func flagged() bool {
	_, err := os.Stat(timesyncFlag)
	return err == nil
}

func readLine(path string) (string, error) {
	b, err := os.ReadFile(path)
	return strings.TrimSpace(string(b)), err
}

// Real returns how long to wait in real time until a clock has moved on by d. This is d itself,
// except for a clock that runs faster or slower than real time and has a method of this name.
func Real(c Clock, d time.Duration) time.Duration {
	if paced, ok := c.(interface {
		Real(d time.Duration) time.Duration
	}); ok {
		return paced.Real(d)
	}
	return d
}

// Lapse returns how far a clock moves on during d of real time. This is d itself, except for a
// clock with a method of this name. Limits of silence are in real time: a delay on a busy
// computer must not look like silence because the clock runs faster.
func Lapse(c Clock, d time.Duration) time.Duration {
	if paced, ok := c.(interface {
		Lapse(d time.Duration) time.Duration
	}); ok {
		return paced.Lapse(d)
	}
	return d
}

// Took returns how long something took in real time that took d by a clock. This is d itself,
// except for a clock with a method of this name. The program must not look slow because the
// clock runs faster.
func Took(c Clock, d time.Duration) time.Duration {
	if paced, ok := c.(interface {
		Took(d time.Duration) time.Duration
	}); ok {
		return paced.Took(d)
	}
	return d
}
