//go:build unix

package link

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// lockDevice locks the device for this program until the returned function is called. The error
// is ErrBusy when another program has it.
//
// The exclusive mode that the serial library sets on the terminal (TIOCEXCL) does not stop root,
// so an advisory lock (flock) is taken as well. The library does not give access to its
// descriptor. The lock is therefore on a second descriptor of the same device node, which is
// opened before and closed after that of the library. It excludes every program that locks the
// node, such as a second potlifed, whichever user runs it and by whatever name it opens the
// node. It does not exclude a program run by root that neither locks nor checks, nor a program
// in a container that made a node of its own. Where the system can tell that some program holds
// the exclusive mode, that counts as busy too (heldExclusively).
//
// Requests are written through this second descriptor too, since it never blocks.
func lockDevice(device string) (deviceLock, error) {
	info, err := os.Stat(device)
	if err != nil {
		return deviceLock{}, classify(err)
	}
	// The kind of file is checked before it is opened, since opening a pipe or a disk has
	// effects.
	if info.Mode()&os.ModeCharDevice == 0 {
		return deviceLock{}, ErrNotSerial
	}
	fd, err := unix.Open(device, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return deviceLock{}, classify(err)
	}
	err = unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB)
	switch {
	case errors.Is(err, unix.EWOULDBLOCK):
		err = ErrBusy
	case err != nil:
		err = fmt.Errorf("lock: %w", err)
	case heldExclusively(fd):
		err = ErrBusy
	}
	if err != nil {
		return deviceLock{}, errors.Join(err, unix.Close(fd))
	}
	return deviceLock{
		close: func() error { return unix.Close(fd) },
		write: func(p []byte) (int, error) {
			n, err := unix.Write(fd, p)
			if errors.Is(err, unix.EAGAIN) {
				err = errNotTaken
			}
			return max(n, 0), err
		},
	}, nil
}
