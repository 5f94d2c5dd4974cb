package link

import (
	"context"
	"errors"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// Kind is a kind of change on a link.
type Kind int

const (
	// Connected: the stream is open. It is not known yet whether the device sends.
	Connected Kind = iota
	// Failed: the stream could not be opened; Err says why. It is reported for the first attempt
	// and when the cause changes, not for each attempt.
	Failed
	// Lost: the stream was open and has ended; Err wraps ErrLost.
	Lost
	// Silent: the stream is open, and no byte came for Quiet.
	Silent
	// Speaking: bytes come, for the first time since Connected, or again after Silent.
	Speaking
)

// String returns the kind in plain words.
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

// Handler receives what a link brings. Run calls its functions from its goroutine, one after
// the other; they should return at once.
type Handler struct {
	// Bytes gets what was read. The slice is valid during the call only. It returns whether
	// there was good data among it. Only good data resets the wait between attempts, so that a
	// device that opens, sends noise and ends is not opened too often.
	Bytes func(p []byte) (good bool)
	// Idle is called about every 100 ms while nothing comes. It returns whether that is normal, so
	// that no silence is reported. It may be nil: silence is not normal.
	Idle func() (normal bool)
	// Change gets each change of state. It may be nil.
	Change func(Change)
}

// Run keeps the stream open until the context ends, then closes it and returns nil. It returns
// another error only for wrong settings. A port that is busy, absent or lost is reported and
// tried again without end. A call into the kernel that hangs for 15 s is left behind, and the port is tried
// again; of more than three that hang at once none is begun. Such a call is all that can outlive Run. It returns
// within about 100 ms after the end of the context, or as long as the system takes to close a port, 15 s at most.
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
	var patience patience
	var lastCause error
	for ctx.Err() == nil {
		st, err := patience.open(ctx, s, open)
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
			good, err := converse(ctx, s, h, st)
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

// causeOf returns the error of this package that is in an error, for comparing.
func causeOf(err error) error {
	for _, cause := range []error{ErrBusy, ErrAbsent, ErrDenied, ErrNotSerial, ErrHangs} {
		if errors.Is(err, cause) {
			return cause
		}
	}
	return nil
}

// answerWithin is how long an answer is waited for before the next request.
const answerWithin = time.Second

// converse reads until the stream or the context ends, and sends the request meanwhile, if there is
// one. It returns whether good data came.
func converse(ctx context.Context, s Settings, h Handler, st io.ReadWriter) (good bool, err error) {
	asking, stop := context.WithCancel(ctx)
	asker := Ask(asking, s, st)
	defer asker.Wait()
	defer stop()
	heard := h
	heard.Bytes = func(p []byte) bool {
		asker.Answered()
		return h.Bytes(p)
	}
	return read(ctx, s, heard, st)
}

// Asker sends a request again and again; see [Ask].
type Asker struct {
	answered atomic.Bool // since the last request
	running  sync.WaitGroup
}

// Ask sends the request of the settings at once and then at its interval, until the context ends.
// Without a request it does nothing. The caller says when an answer came, and waits for the end
// before it closes the stream. What the device does not take is dropped: the next request comes
// anyway, and a stream that is lost is noticed by reading.
func Ask(ctx context.Context, s Settings, st io.Writer) *Asker {
	a := &Asker{}
	if s.Request != "" {
		s = s.withDefaults()
		a.running.Go(func() { a.run(ctx, s, st) })
	}
	return a
}

// Answered says that bytes came.
func (a *Asker) Answered() { a.answered.Store(true) }

// Wait waits for the end, which is that of the context.
func (a *Asker) Wait() { a.running.Wait() }

func (a *Asker) run(ctx context.Context, s Settings, st io.Writer) {
	ticker := time.NewTicker(s.Every)
	defer ticker.Stop()
	var asked time.Time
	for {
		if a.answered.Load() || asked.IsZero() || time.Since(asked) >= answerWithin {
			a.answered.Store(false)
			asked = time.Now()
			_, _ = st.Write([]byte(s.Request))
		}
		select {
		case <-ticker.C:
		case <-ctx.Done():
			return
		}
	}
}

var errHalfOpen = errors.New("no byte for too long on a network link")

// read passes on bytes until the stream or the context ends. It returns whether good data came.
// A read that found nothing does not make the loop busy, because the stream itself waits.
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
		if h.Idle != nil && h.Idle() {
			last = time.Now()
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

// pause waits for d or the end of the context, and returns whether to go on.
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
