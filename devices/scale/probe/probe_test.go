package probe

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"potlifed/devices/link"
	"potlifed/devices/simulate"
)

// device is a scale behind a line of bits. Where the speed or the frame is another one, other bytes
// come out, as on a real line.
type device struct {
	baud    int
	mode    string
	request string // empty: it sends by itself
	line    string

	at    link.Settings
	due   []byte
	asked []string
}

func (d *device) open(_ context.Context, s link.Settings) (io.ReadWriteCloser, error) {
	d.at, d.due = s, nil
	return d, nil
}

func (d *device) Close() error { return nil }

func (d *device) Read(p []byte) (int, error) {
	time.Sleep(100 * time.Millisecond)
	if d.request == "" {
		d.due = append(d.due, d.seen()...)
	}
	if len(d.due) == 0 {
		return 0, os.ErrDeadlineExceeded
	}
	n := copy(p, d.due)
	d.due = d.due[n:]
	return n, nil
}

func (d *device) Write(p []byte) (int, error) {
	d.asked = append(d.asked, string(p))
	if string(p) == d.request && d.at.Baud == d.baud && (d.at.Mode == d.mode || d.at.Mode == "8N1" && d.mode != "7E1" && d.mode != "7O1") {
		d.due = append(d.due, d.seen()...)
	}
	return len(p), nil
}

// seen is the line as it comes out in the settings of the port.
func (d *device) seen() []byte {
	out := []byte(d.line)
	for i, c := range out {
		switch {
		case d.at.Baud != d.baud:
			out[i] = c<<3 ^ 0xe5 // something else
			continue
		case d.at.Mode[0] == '7':
			continue // the port takes the parity off
		case d.mode == "8E1" && d.at.Mode == "8N1":
			if ones(c)%2 == 0 {
				out[i] = 0 // its parity bit is 0 where a stop bit should be
			}
		case d.mode == "7E1" && ones(c)%2 == 1, d.mode == "7O1" && ones(c)%2 == 0:
			out[i] |= 0x80
		}
	}
	return out
}

func ones(c byte) (n int) {
	for ; c != 0; c &= c - 1 {
		n++
	}
	return n
}

// Every usual speed and frame is found, of a scale that sends and of one that must be asked, and
// no request is sent to a scale that sends.
func TestEverySpeedFrameAndRequest(t *testing.T) {
	for _, baud := range usualSpeeds {
		for _, mode := range []string{"8N1", "7E1", "7O1", "8E1"} {
			for _, request := range append([]string{""}, usualRequests...) {
				if request != "" && (mode == "7O1" || mode == "8E1") {
					continue // requests are tried in the two most frequent frames
				}
				synctest.Test(t, func(t *testing.T) {
					d := &device{baud: baud, mode: mode, request: request, line: "ST,GS,+00012.3  g\r\n"}
					began := time.Now()
					found, err := Probe{Open: d.open}.Find(t.Context(), "/dev/x")
					if err != nil || found.Settings.Baud != baud || found.Settings.Mode != mode || found.Settings.Request != request {
						t.Errorf("%d %s %q: %+v, %v", baud, mode, request, found.Settings, err)
					}
					if !strings.Contains(string(found.Received), d.line) {
						t.Errorf("%d %s %q: received %q", baud, mode, request, found.Received)
					}
					if request == "" && len(d.asked) > 0 {
						t.Errorf("a scale that sends was asked %q", d.asked)
					}
					if took := time.Since(began); took > 2*time.Minute {
						t.Errorf("%d %s %q: %v", baud, mode, request, took)
					}
				})
			}
		}
	}
}

func TestNothingIsFound(t *testing.T) {
	for want, d := range map[error]*device{
		ErrMute:    {baud: 9600, mode: "8N1", request: "never", line: "x"},
		ErrGarbled: {baud: 1200, mode: "8N1", line: "ST,GS,+00012.3  g\r\n"},
	} {
		synctest.Test(t, func(t *testing.T) {
			if found, err := (Probe{Open: d.open}).Find(t.Context(), "/dev/x"); !errors.Is(err, want) {
				t.Errorf("%+v, %v; want %v", found, err, want)
			}
		})
	}
	absent := func(context.Context, link.Settings) (io.ReadWriteCloser, error) {
		return nil, fmt.Errorf("open: %w", link.ErrAbsent)
	}
	if _, err := (Probe{Open: absent}).Find(t.Context(), "/dev/x"); !errors.Is(err, link.ErrAbsent) {
		t.Errorf("absent: %v", err)
	}
}

// Over a pseudo-terminal and over the network.
func TestOverARealPort(t *testing.T) {
	for _, o := range []simulate.ScaleOptions{{}, {TCP: true}, {Request: "W\r\n"}, {Request: "SI\r\n", TCP: true}} {
		o.Dir, o.Every = t.TempDir(), 5*time.Millisecond
		s, err := simulate.NewScale(o)
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- s.Run(ctx) }()
		found, err := Probe{Listen: 300 * time.Millisecond, Answer: 150 * time.Millisecond}.Find(t.Context(), s.Port())
		if err != nil || found.Settings.Request != o.Request {
			t.Errorf("%+v: %+v, %v", o, found.Settings, err)
		}
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}
