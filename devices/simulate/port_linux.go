package simulate

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// ptyPort is a pseudo-terminal with a symbolic link to its slave side, as udev makes one for
// each real serial port.
//
// The port keeps the slave side open, so that reads and writes work while readers come and go.
// It also does two things that a real port does by itself. It discards what nobody reads: when
// many bytes are waiting, the reader is gone, and they are discarded so that a later reader gets
// no old weights. And it clears the exclusive mode of a program that was killed: a
// pseudo-terminal would keep it and exclude all users but root, so the mode is cleared with
// every line. The lock keeps two readers apart.
type ptyPort struct {
	link          string
	master, slave *os.File
	requests      requests
}

func newPort(o ScaleOptions) (port, error) {
	if o.TCP {
		return newTCPPort()
	}
	if o.Dir == "" {
		return nil, errors.New("no folder for the scale's name")
	}
	dir, err := filepath.Abs(o.Dir)
	if err != nil {
		return nil, err
	}
	p := &ptyPort{link: filepath.Join(dir, o.Name)}
	if err := p.replug(); err != nil {
		return nil, err
	}
	return p, nil
}

func (p *ptyPort) path() string { return p.link }

func (p *ptyPort) replug() (err error) {
	p.master, p.slave, err = pty.Open()
	if err != nil {
		return fmt.Errorf("pseudo-terminal: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, p.close())
		}
	}()
	if err := onDescriptor(p.slave, makeRaw); err != nil {
		return fmt.Errorf("pseudo-terminal: raw mode: %w", err)
	}
	// The library leaves the descriptor in blocking mode, in which a write would wait for a
	// reader without end.
	if err := onDescriptor(p.master, func(fd int) error { return unix.SetNonblock(fd, true) }); err != nil {
		return fmt.Errorf("pseudo-terminal: %w", err)
	}
	// The link is made under another name and renamed, so that the name is always complete.
	aside := p.link + ".new"
	if err := os.Remove(aside); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Symlink(p.slave.Name(), aside); err != nil {
		return err
	}
	return os.Rename(aside, p.link)
}

func (p *ptyPort) unplug() error {
	err := os.Remove(p.link)
	if errors.Is(err, os.ErrNotExist) {
		err = nil // its folder may have been removed already
	}
	return errors.Join(err, p.close())
}

func (p *ptyPort) close() error { return errors.Join(p.slave.Close(), p.master.Close()) }

// unreadBytes is how many bytes may wait for a reader: half of the kernel's line buffer, and ten
// seconds of usual lines, so that a reader on a busy machine does not count as gone.
const unreadBytes = 2048

func (p *ptyPort) write(b []byte) error {
	err := onDescriptor(p.slave, func(fd int) error {
		waiting, err := unix.IoctlGetInt(fd, unix.TIOCINQ)
		if err != nil {
			return err
		}
		if waiting > unreadBytes {
			err = unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIFLUSH)
		}
		return errors.Join(err, unix.IoctlSetInt(fd, unix.TIOCNXCL, 0))
	})
	if err != nil {
		return fmt.Errorf("pseudo-terminal: %w", err)
	}
	err = onDescriptor(p.master, func(fd int) error {
		_, err := unix.Write(fd, b)
		return err
	})
	if err != nil && !errors.Is(err, unix.EAGAIN) { // the kernel's buffer is full: the bytes are lost, as on a line
		return fmt.Errorf("pseudo-terminal: %w", err)
	}
	return nil
}

func (p *ptyPort) requested(request string) (times int, err error) {
	buf := make([]byte, 4096)
	n := 0
	err = onDescriptor(p.master, func(fd int) (err error) {
		n, err = unix.Read(fd, buf)
		return err
	})
	if errors.Is(err, unix.EAGAIN) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("pseudo-terminal: %w", err)
	}
	return p.requests.count(buf[:n], request), nil
}

// makeRaw switches off all processing of bytes by the terminal, above all the echo, before a
// reader has done so.
func makeRaw(fd int) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag, t.Oflag, t.Lflag = 0, 0, 0
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(fd, unix.TCSETS, t)
}

// onDescriptor calls a function with the file's descriptor. It keeps the mode of the file, which
// File.Fd would change to blocking.
func onDescriptor(f *os.File, call func(fd int) error) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := raw.Control(func(fd uintptr) { inner = call(int(fd)) }); err != nil {
		return err
	}
	return inner
}
