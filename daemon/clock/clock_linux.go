package clock

import (
	"time"

	"golang.org/x/sys/unix"
)

func bootID() (string, error) { return readLine("/proc/sys/kernel/random/boot_id") }

func sinceBoot() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		panic("clock: CLOCK_BOOTTIME: " + err.Error()) // since Linux 2.6.39 it is always there
	}
	return time.Duration(ts.Nano())
}

// kernelSynced reports whether the kernel knows that its clock was set. STA_UNSYNC is set from
// boot until a time daemon clears it, and is set again when that daemon is silent for long. When
// the kernel refuses the question, the clock counts as not set unless systemd's flag says
// otherwise.
func kernelSynced() bool {
	var tx unix.Timex
	if _, err := unix.Adjtimex(&tx); err != nil {
		return flagged()
	}
	return tx.Status&unix.STA_UNSYNC == 0 || flagged()
}
