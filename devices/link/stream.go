package link

import (
	"errors"
	"fmt"
	"os"
)

// deviceLock is a lock on a device node, with a way to write to the device that never blocks; nil
// where the system has none.
type deviceLock struct {
	close func() error
	write func(p []byte) (int, error)
}

// errNotTaken means that the device does not take what is sent to it.
var errNotTaken = errors.New("the device takes no bytes")

// stream is an open port or connection.
type stream struct {
	name      string
	read      func([]byte) (int, error)
	write     func([]byte) (int, error)
	close     func() error
	sevenBits bool
	closed    bool // distinguishes a close from a loss: the library reports both in the same way
}

func (st *stream) Read(p []byte) (int, error) {
	if st.closed {
		return 0, fmt.Errorf("read %q: %w", st.name, ErrClosed)
	}
	n, err := st.read(p)
	if st.sevenBits {
		for i := range p[:n] {
			p[i] &= 0x7f
		}
	}
	switch {
	case n > 0:
		return n, nil // an error that came with data is returned again by the next read
	case err == nil && len(p) > 0, errors.Is(err, os.ErrDeadlineExceeded):
		return 0, os.ErrDeadlineExceeded
	case err == nil:
		return 0, nil
	}
	return 0, fmt.Errorf("read %q: %w: %w", st.name, ErrLost, err)
}

// Write sends p, a short request. It waits about 100 ms at most: where the other side has stopped the
// flow, what cannot be sent is dropped and an error says so. It may be called while Read waits.
func (st *stream) Write(p []byte) (int, error) {
	if st.closed {
		return 0, fmt.Errorf("write %q: %w", st.name, ErrClosed)
	}
	n, err := st.write(p)
	if err != nil {
		err = fmt.Errorf("write %q: %w", st.name, err)
	}
	return n, err
}

func (st *stream) Close() error {
	if st.closed {
		return nil
	}
	st.closed = true
	if err := st.close(); err != nil {
		return fmt.Errorf("close %q: %w", st.name, err)
	}
	return nil
}
