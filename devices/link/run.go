package link

import (
	"context"
	"errors"
	"io"
	"os"
	"time"
)

// Kind says what changed on a link.
type Kind int

const (
	// Connected: the stream is open; whether the device speaks is not known.
	Connected Kind = iota
	// Failed: it could not be opened, Err says why. Reported for the first
	// attempt and when the cause changes, not for each attempt.
	Failed
	// Lost: it was open and has ended; Err wraps ErrLost.
	Lost
	// Silent: open, and no byte for Quiet.
	Silent
	// Speaking: bytes come, for the first time since Connected or again after
	// Silent.
	Speaking
)

// String gives the kind in plain words.
func (k Kind) String() string {
	switch k {
	case Connected:
		return "connected"
	case Failed:
		return "cannot be opened"
	case Lost:
		return "lost"
	case Silent:
		return "silent"
	case Speaking:
		return "speaking"
	}
	return "unknown"
}

// Change is one change of a link's state.
type Change struct {
	Kind Kind
	// Err is the cause of Failed and Lost.
	Err error
	// Quiet is, with Silent, how long no byte came.
	Quiet time.Duration
	// Attempts is, with Connected, how many openings failed before this one.
	Attempts int
}

// Handler receives what a link brings. Both functions are called from Run's
// goroutine, one after the other, and should return at once.
type Handler struct {
	// Bytes gets what was read, valid during the call only. It returns whether
	// good data was among it: only that resets the wait between attempts, so
	// that a device which opens, babbles and dies is not hammered.
	Bytes func(p []byte) (good bool)
	// Change gets each change of state. May be nil.
	Change func(Change)
}

// Run keeps the stream open until the context ends, then closes it and returns
// nil. It returns another error only for wrong settings; a port that is busy,
// absent or lost is reported and tried again without end. It starts no
// goroutine and holds none when it returns; it returns within about 100 ms of
// the context's end, or as long as the system takes to close a port.
func Run(ctx context.Context, s Settings, h Handler) error {
	if err := s.Check(); err != nil {
		return err
	}
	return runWith(ctx, s.withDefaults(), h, Open)
}

type opener func(context.Context, Settings) (io.ReadWriteCloser, error)

func runWith(ctx context.Context, s Settings, h Handler, open opener) error {
	if h.Change == nil {
		h.Change = func(Change) {}
	}
	wait := s.RetryMin
	failures := 0
	var lastCause error
	for ctx.Err() == nil {
		st, err := open(ctx, s)
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			failures++
			if cause := causeOf(err); failures == 1 || cause != lastCause {
				lastCause = cause
				h.Change(Change{Kind: Failed, Err: err})
			}
		} else {
			h.Change(Change{Kind: Connected, Attempts: failures})
			failures, lastCause = 0, nil
			good, err := read(ctx, s, h, st)
			err = errors.Join(err, st.Close())
			if ctx.Err() != nil {
				return nil
			}
			if good {
				wait = s.RetryMin
			}
			h.Change(Change{Kind: Lost, Err: err})
		}
		if !pause(ctx, wait) {
			return nil
		}
		wait = min(2*wait, s.RetryMax)
	}
	return nil
}

// causeOf reduces an error to the one of ours in it, for comparing.
func causeOf(err error) error {
	for _, cause := range []error{ErrBusy, ErrAbsent, ErrDenied, ErrNotSerial} {
		if errors.Is(err, cause) {
			return cause
		}
	}
	return nil
}

var errHalfOpen = errors.New("no byte for too long on a network link")

// read hands on bytes until the stream ends or the context does; it says
// whether good data came. A read that found nothing costs one look at the
// clock and not a busy loop, because the stream itself waits.
func read(ctx context.Context, s Settings, h Handler, st io.Reader) (good bool, err error) {
	buf := make([]byte, 512)
	last := time.Now()
	speaking, silent := false, false
	for ctx.Err() == nil {
		n, err := st.Read(buf)
		if n > 0 {
			last = time.Now()
			if !speaking || silent {
				speaking, silent = true, false
				h.Change(Change{Kind: Speaking})
			}
			if h.Bytes(buf[:n]) {
				good = true
			}
			continue
		}
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return good, err
		}
		quiet := time.Since(last)
		if quiet >= s.Silence && !silent {
			silent = true
			h.Change(Change{Kind: Silent, Quiet: quiet})
		}
		if isTCP(s.Port) && quiet >= s.HalfOpen {
			return good, errors.Join(ErrLost, errHalfOpen)
		}
	}
	return good, nil
}

// pause waits for d or the context, and says whether to go on.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
