package daemon

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// gcPercent is by how much the heap may grow over what is alive before the garbage is collected. A
// bench has some 10 MB alive and makes little garbage, so that a third in place of Go's usual 100
// saves 7 MB and costs a thousandth of a core. A person who sets GOGC gets theirs.
const gcPercent = 33

// Some time after the start, and then again and again, memory is given back that was needed for a while
// only: by the start itself, a report, a study, a backup. It takes some milliseconds.
const (
	firstGivenBack = time.Minute
	givenBackEvery = 10 * time.Minute
)

// boundMemory makes the garbage collector keep the heap small.
func boundMemory() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
}

// giveBackMemory gives memory back until ctx is done.
func (s *service) giveBackMemory(ctx context.Context) error {
	timer := time.NewTimer(firstGivenBack)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		}
		debug.FreeOSMemory()
		if err := dropProgram(); err != nil {
			s.Log.Debug("pages of the program stay in memory", "err", err)
		}
		timer.Reset(givenBackEvery)
	}
}

// dropProgram takes the program's own code and constants out of the process's memory. What runs comes
// back at its next use, from the system's cache as a rule; what only the start ran stays out, and the
// system may drop it from the cache. Only mappings that are never written are taken, so nothing is lost.
func dropProgram() error {
	program, err := os.Executable()
	if err != nil {
		return err
	}
	maps, err := os.Open("/proc/self/maps")
	if err != nil {
		return err
	}
	defer maps.Close()
	var failed error
	lines := bufio.NewScanner(maps)
	for lines.Scan() {
		begin, end, ok := readOnlyMapping(lines.Text(), program)
		if !ok {
			continue
		}
		if _, _, errno := unix.Syscall(unix.SYS_MADVISE, begin, end-begin, unix.MADV_DONTNEED); errno != 0 {
			failed = errors.Join(failed, fmt.Errorf("give back %x-%x: %w", begin, end, errno))
		}
	}
	return errors.Join(failed, lines.Err())
}

// readOnlyMapping returns the addresses in a line of /proc/PID/maps (proc(5)), if it is a private
// mapping of the file that nothing can write to.
func readOnlyMapping(line, file string) (begin, end uintptr, ok bool) {
	fields := strings.Fields(line)
	if len(fields) != 6 || fields[5] != file || fields[1] != "r-xp" && fields[1] != "r--p" {
		return 0, 0, false
	}
	if _, err := fmt.Sscanf(fields[0], "%x-%x", &begin, &end); err != nil || end <= begin {
		return 0, 0, false
	}
	return begin, end, true
}
