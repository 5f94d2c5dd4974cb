//go:build unix

package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// lock locks the data directory for this process, so that two daemons never number events in one
// journal. The lock is a file of its own: closing any descriptor of the database file would
// release SQLite's locks on it.
func lock(dir string) (*os.File, error) {
	path := filepath.Join(dir, "lock")
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o640)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		err = errors.Join(err, f.Close())
		return nil, fmt.Errorf("lock %s: another potlifed works with this directory: %w", path, err)
	}
	return f, nil
}
