//go:build unix

package link

import (
	"os"
	"syscall"
)

// openNonblocking opens a device for reading so that neither the opening nor a read can hang: with
// O_NONBLOCK the runtime waits for the device, and a deadline ends the wait.
func openNonblocking(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK|syscall.O_NOCTTY, 0)
}
