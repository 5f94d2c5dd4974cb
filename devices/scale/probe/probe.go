// Package probe finds the speed, the frame and, if need be, the request of an unknown scale, by
// trying what is usual and judging what comes back.
//
// It first only listens. Requests are tried only on a port on which nothing comes at any speed,
// and only those that ask for a weight: none tares, zeroes or sets anything on the common scales.
package probe

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"potlifed/devices/link"
	"potlifed/devices/scale/learn"
)

// usualSpeeds are the speeds in bit/s, the most frequent first.
var usualSpeeds = []int{9600, 2400, 4800, 19200, 38400, 57600, 115200}

// usualRequests are the usual ways to ask for a weight.
var usualRequests = []string{"P\r\n", "S\r\n", "SI\r\n", "W\r\n", "Q\r\n", "\x05", "?\r\n", "\x1bP\r\n", "P\r", "W\r"}

// ErrMute means that nothing came, whatever was tried.
var ErrMute = errors.New("nothing came from the scale at any usual speed, and it answered no usual request")

// ErrGarbled means that bytes came, and no text at any speed.
var ErrGarbled = errors.New("bytes came from the scale, and no lines of text at any usual speed and frame")

// Probe tries a port. The zero value uses real ports.
type Probe struct {
	// Open opens the port; link.Open by default.
	Open func(context.Context, link.Settings) (io.ReadWriteCloser, error)
	// Listen is how long a speed is listened to, 2 s by default. It must be longer than the
	// time between two lines.
	Listen time.Duration
	// Answer is how long an answer is waited for, 300 ms by default.
	Answer time.Duration
	// Trying gets what is being tried, in a few words. It may be nil.
	Trying func(string)
}

// Found is what was found.
type Found struct {
	Settings link.Settings
	Received []byte // what came in these settings
}

// Find returns the settings with which lines come from a port. The error is or wraps ErrMute,
// ErrGarbled, an error of the link, or that of the context.
func (p Probe) Find(ctx context.Context, port string) (Found, error) {
	p = p.withDefaults()
	speeds := usualSpeeds
	if (link.Settings{Port: port}).Check() == nil && isNetwork(port) {
		speeds = speeds[:1] // the adapter has the speed
	}
	heard := false
	for _, baud := range speeds {
		for _, mode := range []string{"8N1", "8E1"} {
			s := link.Settings{Port: port, Baud: baud, Mode: mode}
			p.Trying(fmt.Sprintf("%d %s", baud, mode))
			received, err := p.listen(ctx, s, "", p.Listen)
			if err != nil {
				return Found{}, err
			}
			if found, ok := judge(s, received); ok {
				return found, nil
			}
			if len(received) == 0 {
				break // no parity makes a silent line speak
			}
			heard = true
		}
	}
	if heard {
		return Found{}, ErrGarbled
	}
	for _, mode := range []string{"8N1", "7E1"} {
		for _, baud := range speeds {
			p.Trying(fmt.Sprintf("%d %s, asking", baud, mode))
			found, ok, err := p.ask(ctx, link.Settings{Port: port, Baud: baud, Mode: mode})
			if err != nil || ok {
				return found, err
			}
		}
		if isNetwork(port) {
			break
		}
	}
	return Found{}, ErrMute
}

func isNetwork(port string) bool { return len(port) > 6 && port[:6] == "tcp://" }

func (p Probe) withDefaults() Probe {
	if p.Open == nil {
		p.Open = link.Open
	}
	if p.Listen == 0 {
		p.Listen = 2 * time.Second
	}
	if p.Answer == 0 {
		p.Answer = 300 * time.Millisecond
	}
	if p.Trying == nil {
		p.Trying = func(string) {}
	}
	return p
}

// judge returns the settings for bytes that were received in s. A frame of seven bits and parity has
// as many bits as one of eight without, so that its parity is seen in bit 7.
func judge(s link.Settings, received []byte) (Found, bool) {
	switch frame := learn.FrameOf(received); {
	case frame == "":
		return Found{}, false
	case frame != "8N1":
		s.Mode = frame
		received = stripped(received)
	}
	return Found{s, received}, true
}

func stripped(received []byte) []byte {
	text := make([]byte, len(received))
	for i, c := range received {
		text[i] = c & 0x7f
	}
	return text
}

// enoughLines are lines that show a speed.
const enoughLines = 3

// listen opens the port, sends the request if there is one, and returns what comes within a time;
// as soon as some lines of text have come, it waits no longer.
func (p Probe) listen(ctx context.Context, s link.Settings, request string, within time.Duration) (received []byte, err error) {
	st, err := p.Open(ctx, s)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	if request != "" {
		if _, err := st.Write([]byte(request)); err != nil {
			return nil, nil // it takes nothing, which is an answer too
		}
	}
	return hear(ctx, st, within)
}

// hear reads until the time is over or enough lines have come.
func hear(ctx context.Context, st io.Reader, within time.Duration) (received []byte, err error) {
	buf := make([]byte, 512)
	for end := time.Now().Add(within); time.Now().Before(end); {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		n, err := st.Read(buf)
		received = append(received, buf[:n]...)
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return nil, err
		}
		if len(received) > mostBytes || n > 0 && learn.FrameOf(received) != "" && len(learn.Split(stripped(received))) > enoughLines {
			break
		}
	}
	return received, nil
}

// mostBytes bounds what is kept of one trial.
const mostBytes = 1 << 16

// ask tries the usual requests in one setting. An answer is asked for twice more before it is
// believed.
func (p Probe) ask(ctx context.Context, s link.Settings) (found Found, ok bool, err error) {
	st, err := p.Open(ctx, s)
	if err != nil {
		return Found{}, false, err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	for _, request := range usualRequests {
		var received []byte
		for range 3 {
			if _, err := st.Write([]byte(request)); err != nil {
				break
			}
			answer, err := hear(ctx, st, p.Answer)
			if err != nil {
				return Found{}, false, err
			}
			if len(answer) == 0 {
				break
			}
			received = append(received, answer...)
		}
		if found, ok := judge(s, received); ok && len(learn.Split(found.Received)) >= 2 {
			found.Settings.Request = request
			return found, true, nil
		}
	}
	return Found{}, false, nil
}
