// Package link provides a byte stream that is opened again after it is lost: a serial port with
// a stable path, or a serial-to-network adapter at tcp://HOST:PORT.
//
// The package handles bytes and does not interpret them. Open gives one stream, for commands
// that read for a moment. Run keeps a stream alive for the service: it opens and reads, and when
// the stream is lost it first closes, waits, and opens the same name again. The order matters:
// while a dead descriptor of an unplugged adapter is open, the kernel keeps its number, and the
// adapter comes back under another one.
//
// A port belongs to one program at a time, see lockDevice.
package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"go.bug.st/serial"
)

// Errors that a caller tests for. Every error of Open, and every Change.Err, that has one of
// these causes wraps it.
var (
	// ErrBusy means that another program holds the port.
	ErrBusy = errors.New("another program holds this port")
	// ErrAbsent means that there is nothing of that name, or that nothing answers at the
	// address.
	ErrAbsent = errors.New("it is not there")
	// ErrDenied means that this user may not open the port.
	ErrDenied = errors.New("this user may not open it")
	// ErrNotSerial means that the name is not that of a serial port, or that the port has no
	// hardware.
	ErrNotSerial = errors.New("it is not a serial port")
	// ErrLost means that an open stream ended without being closed here: unplugged, switched
	// off, or closed by the other side.
	ErrLost = errors.New("the link was lost")
	// ErrClosed means that this program closed the stream.
	ErrClosed = errors.New("the link is closed")
	// ErrSettings means that the settings are wrong.
	ErrSettings = errors.New("wrong link settings")
)

// pollEvery limits how long a Read waits for a byte, and so how long a stop takes. Reading and
// closing happen in one goroutine, which checks for a stop this often. Closing a port during a
// blocked read would leave the read waiting on a descriptor number that may belong to something
// else by then.
const pollEvery = 100 * time.Millisecond

const (
	defaultBaud     = 9600
	defaultMode     = "8N1"
	defaultSilence  = 3 * time.Second
	defaultHalfOpen = 30 * time.Second
	defaultRetryMin = 250 * time.Millisecond
	defaultRetryMax = 5 * time.Second
	defaultEvery    = 200 * time.Millisecond
	dialTimeout     = 5 * time.Second
)

const (
	maxRequest = 64
	minEvery   = 50 * time.Millisecond
)

// Settings describe where the bytes come from. Zero values mean the defaults.
type Settings struct {
	// Port is a device path, tcp://HOST:PORT, or a scale on hidraw: hid:/dev/hidraw0, or
	// hid:VENDOR:PRODUCT or hid:VENDOR:PRODUCT:SERIAL with both ids as four hexadecimal digits. A
	// path by id below /dev/serial/by-id is best, since ttyUSB and hidraw numbers change at a
	// reboot.
	Port string
	// Baud is the speed in bit/s, 9600 by default. It is not used for TCP.
	Baud int
	// Mode is data bits, parity (N, E, O, M, S) and stop bits, "8N1" by default. With 7 data
	// bits, bit 7 of each byte is cleared on any link.
	Mode string
	// Silence is how long no byte may come before Run reports it, 3 s by default.
	Silence time.Duration
	// HalfOpen is how long a TCP stream may be silent before Run closes and reopens it, 30 s by
	// default: an adapter that lost its power does not close the connection. Serial ports are
	// not reopened because of silence.
	HalfOpen time.Duration
	// Request is what is sent to a device that speaks only when it is asked, such as "P\r\n";
	// empty for one that sends by itself.
	Request string
	// Every is how often Request is sent, 200 ms by default. The next request waits for the
	// answer to the one before, but not for longer than a second.
	Every time.Duration
	// Root is the folder in which the system's folders sys and dev are looked for, for scales on
	// hidraw; "/" by default. Tests set it.
	Root string
	// RetryMin and RetryMax limit the wait between attempts, which doubles from one to the
	// other; 250 ms and 5 s by default.
	RetryMin, RetryMax time.Duration
}

// Check returns nil when the settings are right. Otherwise the error names everything that is
// wrong, and wraps ErrSettings. It opens nothing.
func (s Settings) Check() error {
	s = s.withDefaults()
	var faults []error
	if err := checkPort(s.Port); err != nil {
		faults = append(faults, err)
	}
	if s.Baud < 50 || s.Baud > 4_000_000 {
		faults = append(faults, fmt.Errorf("%w: baud %d: want a speed such as 9600", ErrSettings, s.Baud))
	}
	if _, err := parseMode(s.Mode); err != nil {
		faults = append(faults, err)
	}
	if len(s.Request) > maxRequest {
		faults = append(faults, fmt.Errorf("%w: the request has %d bytes, want %d at most", ErrSettings, len(s.Request), maxRequest))
	}
	if s.Every < minEvery {
		faults = append(faults, fmt.Errorf("%w: a request every %v, want %v at least", ErrSettings, s.Every, minEvery))
	}
	if s.Silence < 0 || s.HalfOpen < 0 || s.RetryMin < 0 || s.RetryMax < s.RetryMin {
		faults = append(faults, fmt.Errorf("%w: silence, half-open and retry times must not be negative, nor the longest retry shorter than the first", ErrSettings))
	}
	return errors.Join(faults...)
}

func (s Settings) withDefaults() Settings {
	if s.Baud == 0 {
		s.Baud = defaultBaud
	}
	if s.Mode == "" {
		s.Mode = defaultMode
	}
	if s.Root == "" {
		s.Root = "/"
	}
	for _, d := range []struct {
		value   *time.Duration
		instead time.Duration
	}{{&s.Silence, defaultSilence}, {&s.HalfOpen, defaultHalfOpen}, {&s.Every, defaultEvery}, {&s.RetryMin, defaultRetryMin}, {&s.RetryMax, max(defaultRetryMax, s.RetryMin)}} {
		if *d.value == 0 {
			*d.value = d.instead
		}
	}
	return s
}

func checkPort(port string) error {
	switch {
	case port == "":
		return fmt.Errorf("%w: no port named: give a device path, best one under /dev/serial/by-id, or tcp://HOST:PORT", ErrSettings)
	case strings.ContainsRune(port, 0):
		return fmt.Errorf("%w: port %q contains a zero byte", ErrSettings, port)
	case IsHID(port):
		_, err := parseHIDName(port)
		return err
	case !strings.Contains(port, "://"):
		return nil
	}
	_, err := tcpAddress(port)
	return err
}

// tcpAddress returns the HOST:PORT of tcp://HOST:PORT.
func tcpAddress(port string) (string, error) {
	u, err := url.Parse(port)
	if err != nil {
		return "", fmt.Errorf("%w: port %q: %w", ErrSettings, port, err)
	}
	if u.Scheme != "tcp" || u.Hostname() == "" || u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		return "", fmt.Errorf("%w: port %q: want tcp://HOST:PORT and nothing more", ErrSettings, port)
	}
	if n, err := strconv.ParseUint(u.Port(), 10, 16); err != nil || n == 0 {
		return "", fmt.Errorf("%w: port %q: want a TCP port from 1 to 65535 after the host", ErrSettings, port)
	}
	// net/url accepts an IPv6 address without brackets as a host, and package net does not.
	if _, _, err := net.SplitHostPort(u.Host); err != nil {
		return "", fmt.Errorf("%w: port %q: an IPv6 address stands in brackets, as tcp://[::1]:4001", ErrSettings, port)
	}
	return u.Host, nil
}

// IsHID reports whether a port names a scale on hidraw.
func IsHID(port string) bool { return strings.HasPrefix(port, "hid:") }

func isTCP(port string) bool { return strings.HasPrefix(port, "tcp://") }

// parseMode reads a mode such as 8N1: data bits, parity, stop bits.
func parseMode(mode string) (serial.Mode, error) {
	wrong := fmt.Errorf("%w: mode %q: want data bits 5 to 8, parity N, E, O, M or S, and 1 or 2 stop bits, such as 8N1 or 7E1", ErrSettings, mode)
	if len(mode) != 3 || mode[0] < '5' || mode[0] > '8' {
		return serial.Mode{}, wrong
	}
	parity, ok := map[byte]serial.Parity{
		'N': serial.NoParity, 'E': serial.EvenParity, 'O': serial.OddParity,
		'M': serial.MarkParity, 'S': serial.SpaceParity,
	}[mode[1]]
	stop, okStop := map[byte]serial.StopBits{'1': serial.OneStopBit, '2': serial.TwoStopBits}[mode[2]]
	if !ok || !okStop {
		return serial.Mode{}, wrong
	}
	return serial.Mode{DataBits: int(mode[0] - '0'), Parity: parity, StopBits: stop}, nil
}

// Open opens the stream once. The context limits the opening only. The errors are those of this
// package.
//
// A Read waits about 100 ms at most. When nothing came, it returns zero bytes and
// os.ErrDeadlineExceeded, so that the caller can check its context and read again. When the
// other end went away it returns an error that wraps ErrLost, and after Close ErrClosed. Read
// and Close must be called from one goroutine. Close may be called again. Bytes that waited in
// the port before it was opened are discarded, since their age is not known.
func Open(ctx context.Context, s Settings) (io.ReadWriteCloser, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("open %q: %w", s.Port, err)
	}
	s = s.withDefaults()
	var st *stream
	var err error
	switch {
	case isTCP(s.Port):
		st, err = openTCP(ctx, s)
	case IsHID(s.Port):
		return openHID(s)
	default:
		st, err = openSerial(s)
	}
	if err != nil {
		return nil, err
	}
	st.sevenBits = s.Mode[0] == '7'
	return st, nil
}

func openTCP(ctx context.Context, s Settings) (*stream, error) {
	address, err := tcpAddress(s.Port)
	if err != nil {
		return nil, err
	}
	dialer := net.Dialer{
		Timeout:         dialTimeout,
		KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 10 * time.Second, Interval: 5 * time.Second, Count: 3},
	}
	conn, err := dialer.DialContext(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("open %q: %w: %w", s.Port, ErrAbsent, err)
	}
	return &stream{
		name: s.Port,
		write: func(p []byte) (int, error) {
			if err := conn.SetWriteDeadline(time.Now().Add(pollEvery)); err != nil {
				return 0, err
			}
			return conn.Write(p)
		},
		close: conn.Close,
		read: func(p []byte) (int, error) {
			if err := conn.SetReadDeadline(time.Now().Add(pollEvery)); err != nil {
				return 0, err
			}
			return conn.Read(p)
		},
	}, nil
}

func openSerial(s Settings) (*stream, error) {
	mode, err := parseMode(s.Mode)
	if err != nil {
		return nil, err
	}
	mode.BaudRate = s.Baud
	// The symbolic link is resolved once, so that the device that is locked is the device that
	// is opened.
	device := s.Port
	if resolved, err := filepath.EvalSymlinks(device); err == nil {
		device = resolved
	}
	lock, err := lockDevice(device)
	if err != nil {
		return nil, fmt.Errorf("open serial port %q: %w", s.Port, err)
	}
	port, err := serial.Open(device, &mode)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open serial port %q: %w", s.Port, classify(err)), lock.close())
	}
	st := &stream{
		name:  s.Port,
		read:  unpanicked(port.Read),
		write: port.Write,
		// Both descriptors must be closed, or an unplugged adapter keeps its number.
		close: func() error { return errors.Join(port.Close(), lock.close()) },
	}
	if lock.write != nil {
		st.write = lock.write
	}
	if err := errors.Join(port.SetReadTimeout(pollEvery), port.ResetInputBuffer()); err != nil {
		return nil, errors.Join(fmt.Errorf("open serial port %q: %w", s.Port, err), st.Close())
	}
	return st, nil
}

// classify wraps the error of the library or the system in one of this package's errors.
func classify(err error) error {
	var perr *serial.PortError
	if errors.As(err, &perr) {
		switch perr.Code() {
		case serial.PortBusy:
			return fmt.Errorf("%w: %w", ErrBusy, err)
		case serial.PortNotFound:
			return fmt.Errorf("%w: %w", ErrAbsent, err)
		case serial.PermissionDenied:
			return fmt.Errorf("%w: %w", ErrDenied, err)
		case serial.InvalidSerialPort:
			return fmt.Errorf("%w: %w", ErrNotSerial, err)
		}
		return err
	}
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ENOTDIR):
		return fmt.Errorf("%w: %w", ErrAbsent, err)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w: %w", ErrDenied, err)
	case errors.Is(err, syscall.EBUSY):
		return fmt.Errorf("%w: %w", ErrBusy, err)
	case errors.Is(err, syscall.EISDIR), errors.Is(err, syscall.ENOTTY):
		return fmt.Errorf("%w: %w", ErrNotSerial, err)
	}
	return err
}

// Advice returns a sentence that says what a person can do about an error of this package; empty
// when the error says it all.
func Advice(err error) string {
	switch {
	case errors.Is(err, ErrBusy):
		return "End the other program: another potlifed, a terminal program, a console on this port, or ModemManager or brltty which take new ports by themselves."
	case errors.Is(err, ErrAbsent):
		return "Is it plugged in and switched on? `ls -l /dev/serial/by-id` lists the serial ports that are here; for tcp://, check the adapter's address."
	case errors.Is(err, ErrDenied):
		return "Add the user that runs potlifed to the group that owns the device (`ls -lL` shows it, mostly dialout) and log in again."
	case errors.Is(err, ErrNotSerial):
		return "Name the serial port itself, best by its name under /dev/serial/by-id."
	case errors.Is(err, ErrHangs):
		return "Unplug the adapter and plug it in again. If that does not help, restart the computer: the driver is stuck."
	}
	return ""
}
