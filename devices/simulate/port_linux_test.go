package simulate

import (
	"testing"

	"golang.org/x/sys/unix"
)

// waiting counts the bytes that nobody has read.
func waiting(t *testing.T, s *Scale) (n int) {
	t.Helper()
	err := onDescriptor(s.port.(*ptyPort).slave, func(fd int) (err error) {
		n, err = unix.IoctlGetInt(fd, unix.TIOCINQ)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}
