package daemon

import (
	"context"
	"os"
	"runtime/debug"
	"time"
)

// gcPercent is by how much the heap may grow over what is alive before the garbage is collected. A
// bench has some 10 MB alive and makes little garbage, so that a third in place of Go's usual 100
// keeps it some megabytes smaller. A person who sets GOGC gets theirs.
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
		timer.Reset(givenBackEvery)
	}
}
