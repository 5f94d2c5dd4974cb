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
	return locked(f)
}

// lockToRead locks a data directory in which nothing can be written. A directory without the file
// of the lock was never in use, and is not locked: nil.
func lockToRead(dir string) (*os.File, error) {
	f, err := os.Open(filepath.Join(dir, "lock"))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return locked(f)
}

func locked(f *os.File) (*os.File, error) {
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		closed := f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			err = errors.New("another potlifed works with this directory; stop it first, or name another data_dir for this one")
		}
		return nil, errors.Join(fmt.Errorf("lock %s: %w", f.Name(), err), closed)
	}
	return f, nil
}
