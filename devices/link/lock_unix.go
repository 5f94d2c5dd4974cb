//go:build unix

package link

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// lockDevice takes the device for this program until the returned function is
// called, or says ErrBusy.
//
// The exclusive mode which the serial library sets on the terminal (TIOCEXCL)
// does not stop root, so an advisory lock (flock) is taken as well. The
// library keeps its descriptor to itself; the lock therefore lives on a second
// descriptor of the same device node, opened before and closed after the
// library's. It excludes every program that locks the node, two potlifed among
// them, whoever runs them and by whatever name they reach the node. It does
// not exclude a program run by root that neither locks nor asks, nor one in a
// container that made a node of its own; where the system can tell that
// someone holds the exclusive mode, that counts as busy too (heldExclusively).
func lockDevice(device string) (unlock func() error, err error) {
	info, err := os.Stat(device)
	if err != nil {
		return nil, classify(err)
	}
	// Looked at before it is opened: opening a pipe or a disk changes things.
	if info.Mode()&os.ModeCharDevice == 0 {
		return nil, ErrNotSerial
	}
	fd, err := unix.Open(device, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, classify(err)
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
		return nil, errors.Join(err, unix.Close(fd))
	}
	return func() error { return unix.Close(fd) }, nil
}
