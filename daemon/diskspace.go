package daemon

import (
	"context"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"
)

// diskEvery is how often the room on the disk is looked at.
const diskEvery = time.Minute

// diskSpace knows the room on the disk of a directory. The disk is asked in a goroutine of its own, because a faulty
// card may take long to answer.
type diskSpace struct {
	dir  string
	room atomic.Pointer[int64]
}

// run looks at once and then each minute until ctx is done.
func (d *diskSpace) run(ctx context.Context) error {
	d.look()
	tick := time.NewTicker(diskEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			d.look()
		case <-ctx.Done():
			return nil
		}
	}
}

// look asks the disk for the room that is left to users other than root.
func (d *diskSpace) look() {
	var is unix.Statfs_t
	if err := unix.Statfs(d.dir, &is); err != nil {
		d.room.Store(nil)
		return
	}
	room := int64(is.Bavail) * int64(is.Bsize)
	d.room.Store(&room)
}

// free returns the room in bytes, nil where it is not known. It does not wait.
func (d *diskSpace) free() *int64 { return d.room.Load() }
