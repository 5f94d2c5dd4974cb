package daemon

import (
	"context"
	"os"
	"runtime/debug"
	"time"
)

// gcPercent is by how much the heap may grow over what is alive before the garbage is collected. A
// bench has some 5 MB alive. In turns, 33 took 0.99 % of a core and 49.3 MB, 60 took 0.80 % and 50.2 MB,
// and Go's usual 100 took 0.72 % and 53.5 MB. A person who sets GOGC gets theirs.
const gcPercent = 60

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
