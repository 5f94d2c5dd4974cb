// Package modbus reads registers of a Modbus server: RTU on a serial line or behind a serial server on
// the network, and TCP.
//
// It follows the MODBUS Application Protocol Specification V1.1b3 (functions 3 and 4), MODBUS
// over Serial Line V1.02 (RTU) and the MODBUS Messaging on TCP/IP Implementation Guide V1.0b.
//
// An RTU answer does not name the registers that it holds. A late answer to one request can
// therefore be taken for the answer to the next one. This package guards against that as far as
// the protocol allows: it discards what waits on the line before each request, and accepts an
// answer only if it is the one frame on the line, with the right unit, function, length and
// checksum. The rest is the caller's: it must ask each unit of a serial line for one range of
// registers only, so that a late answer of this unit holds the same registers.
package modbus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"potlifed/devices/link"
)

// Errors that a caller tests for, beside those of package link.
var (
	// ErrTimeout means that the unit did not answer.
	ErrTimeout = errors.New("no answer")
	// ErrFrame means that what came is no valid answer to the request.
	ErrFrame = errors.New("not a valid answer")
	// ErrException means that the unit refused the request.
	ErrException = errors.New("the unit refuses the request")
)

// Function is the function code of a reading request (V1.1b3, 6.3 and 6.4).
type Function byte

// The functions.
const (
	ReadHolding Function = 3
	ReadInput   Function = 4
)

// MostRegisters is how many registers a request may ask for (V1.1b3, 6.3).
const MostRegisters = 125

const (
	// answerWithin is how long a unit may take. Transmitters for humidity need up to some 100 ms.
	answerWithin = time.Second
	// drainWithin limits how long the line may be busy before a request.
	drainWithin = time.Second
	// maxFrameBytes is the longest frame (serial line V1.02, 2.5.1; TCP V1.0b, 3.1.3: 260).
	maxFrameBytes = 260
	// closeWithin is how long Close waits for a request, which takes two seconds at most.
	closeWithin = 5 * time.Second
	// halfOpenAfter is how long nothing may come over a network from any unit behind a serial server
	// before the connection is opened again.
	halfOpenAfter = 30 * time.Second
)

// Request asks one unit for a range of registers.
type Request struct {
	Unit     byte // 1..247 on a serial line, 0..255 over TCP
	Function Function
	First    uint16 // the address in the request, from 0
	Count    int    // 1..MostRegisters
}

// Framing is how frames are sent.
type Framing string

// The framings. A serial line has only RTU; over a network, RTU is for a serial server that passes bytes
// through, and TCP for a unit or a gateway that speaks Modbus TCP.
const (
	RTU Framing = "rtu"
	TCP Framing = "tcp"
)

// Bus is a serial line or a TCP connection, on which one request is made at a time. It is opened
// with the first request and again after a fault. A Bus starts no goroutine.
type Bus struct {
	settings link.Settings
	open     func(context.Context, link.Settings) (io.ReadWriteCloser, error)
	network  bool
	framing  Framing

	turn        chan struct{} // holds a token during a request; guards what follows
	stream      io.ReadWriteCloser
	heard       time.Time // when bytes came last on this stream, or when it was opened
	transaction uint16
}

// New returns a bus at a serial port or at tcp://HOST:PORT. Without a framing it is RTU on a serial port
// and TCP on the network. It opens nothing. The error is that of [link.Settings.Check], or tells of
// TCP frames on a serial port.
func New(s link.Settings, f Framing) (*Bus, error) {
	network := strings.HasPrefix(s.Port, "tcp://")
	if err := s.Check(); err != nil {
		return nil, err
	}
	switch {
	case f == "" && network:
		f = TCP
	case f == "":
		f = RTU
	case f == TCP && !network, f != RTU && f != TCP:
		return nil, fmt.Errorf("%w: framing %q at port %q: want rtu, or tcp at tcp://HOST:PORT", link.ErrSettings, f, s.Port)
	}
	return &Bus{settings: s, open: link.Open, network: network, framing: f, turn: make(chan struct{}, 1)}, nil
}

// Read returns the registers that the request asks for. It waits for its turn, then about a
// second for the answer. The error wraps ErrTimeout, ErrFrame, ErrException, one of package link,
// or that of the context.
func (b *Bus) Read(ctx context.Context, r Request) ([]uint16, error) {
	if r.Count < 1 || r.Count > MostRegisters || int(r.First)+r.Count > 1<<16 {
		return nil, fmt.Errorf("modbus: %d registers from %d: want 1 to %d", r.Count, r.First, MostRegisters)
	}
	select {
	case b.turn <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-b.turn }()
	if b.stream == nil {
		stream, err := b.open(ctx, b.settings)
		if err != nil {
			return nil, err
		}
		b.stream, b.heard = stream, time.Now()
	}
	ask := b.askRTU
	if b.framing == TCP {
		ask = b.askTCP
	}
	registers, err := ask(ctx, r)
	if err != nil && b.spoilt(err) {
		err = errors.Join(err, b.shut())
	}
	if err != nil {
		return nil, fmt.Errorf("unit %d at %q: %w", r.Unit, b.settings.Port, err)
	}
	return registers, nil
}

// spoilt reports whether the stream is to be opened again after an error. A serial line stays open
// after a wrong answer: the next request begins with a quiet line. Modbus TCP does not say where the next
// answer begins, and another connection costs little. A serial server may lose its power and not close
// the connection; then nothing comes from any unit.
func (b *Bus) spoilt(err error) bool {
	switch {
	case errors.Is(err, link.ErrLost):
		return true
	case errors.Is(err, ErrException):
		return false
	case b.framing == TCP:
		return true
	}
	return b.network && time.Since(b.heard) > halfOpenAfter
}

// Close closes the port. A request that is under way ends first; if it hangs in the driver for 5 s, the
// port stays open and the error says so. A later Read opens it again.
func (b *Bus) Close() error {
	timer := time.NewTimer(closeWithin)
	defer timer.Stop()
	select {
	case b.turn <- struct{}{}:
	case <-timer.C:
		return fmt.Errorf("close %q: a request hangs in the driver", b.settings.Port)
	}
	defer func() { <-b.turn }()
	return b.shut()
}

func (b *Bus) shut() error {
	if b.stream == nil {
		return nil
	}
	stream := b.stream
	b.stream = nil
	return stream.Close()
}

// drain discards what waits on the line, until nothing came for one poll of the link.
func (b *Bus) drain(ctx context.Context) error {
	buf := make([]byte, maxFrameBytes)
	for began := time.Now(); ; {
		n, err := b.stream.Read(buf)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case n > 0 && time.Since(began) > drainWithin:
			return fmt.Errorf("%w: bytes come without a request", ErrFrame)
		case n > 0:
		case errors.Is(err, os.ErrDeadlineExceeded):
			return nil
		case err != nil:
			return err
		}
	}
}

// receive reads until enough says so, or until nothing comes any more, or for answerWithin. The
// error is that of the link or of the context; what came is returned beside it.
func (b *Bus) receive(ctx context.Context, enough func([]byte) bool) ([]byte, error) {
	var came []byte
	buf := make([]byte, maxFrameBytes)
	for began := time.Now(); time.Since(began) < answerWithin && len(came) <= 2*maxFrameBytes; {
		n, err := b.stream.Read(buf)
		came = append(came, buf[:n]...)
		if n > 0 {
			b.heard = time.Now()
		}
		switch {
		case ctx.Err() != nil:
			return came, ctx.Err()
		case n > 0 && enough(came):
			return came, nil
		case n > 0:
		case errors.Is(err, os.ErrDeadlineExceeded):
			if len(came) > 0 && b.framing == RTU { // a frame has no pauses (serial line V1.02, 2.5.1.1)
				return came, nil
			}
		case err != nil:
			return came, err
		}
	}
	return came, nil
}
