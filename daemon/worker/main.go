package worker

import (
	"context"
	"io"
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// lower is how far the worker steps back behind the service when both want a processor.
const lower = 10

// ExitNoLot is the exit code of a worker's process for [report.ErrNoLot].
const ExitNoLot = 4

// Main does one job in a process of its own, as [Do] does, after stepping back behind the service.
func Main(ctx context.Context, in io.Reader, out io.Writer) error {
	stepBack()
	return Do(ctx, in, out)
}

// stepBack gives this process a lower priority than the service, and makes it the one that the kernel ends when
// memory is short. Where that is not allowed, the job is done all the same.
func stepBack() {
	threads, _ := os.ReadDir("/proc/self/task")
	for _, t := range threads {
		if id, err := strconv.Atoi(t.Name()); err == nil { // a thread that is made later has the priority of its maker
			_ = unix.Setpriority(unix.PRIO_PROCESS, id, lower)
		}
	}
	_ = os.WriteFile("/proc/self/oom_score_adj", []byte("1000"), 0)
}
