//go:build unix

package access

import (
	"errors"
	"fmt"
	"os"
	"syscall"

	"golang.org/x/sys/unix"

	"potlifed/daemon/whole"
)

// lock prevents other processes from changing the file. The lock is on the directory and needs
// no file of its own; it is released after one small write.
func lock(dir string) (release func(), err error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	for {
		err = unix.Flock(int(f.Fd()), unix.LOCK_EX)
		if !errors.Is(err, unix.EINTR) {
			break
		}
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", dir, err), f.Close())
	}
	return func() { f.Close() }, nil
}

// ownedAs gives a file that root wrote to the owner of its directory: the command was called
// with sudo, and the service must be able to read the file.
func ownedAs(f *whole.File, dir string) error {
	if os.Geteuid() != 0 {
		return nil
	}
	info, err := os.Stat(dir)
	if err != nil {
		return err
	}
	owner, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return nil
	}
	return f.Chown(int(owner.Uid), int(owner.Gid))
}
