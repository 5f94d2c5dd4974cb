package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync/atomic"
	"time"
)

// ErrHangs means that the driver of the device has not come back from a call: it was left behind.
var ErrHangs = errors.New("the driver does not come back")

// The limits of calls into the kernel that hang, as with a driver whose device has died. Such a call cannot be
// interrupted. It is left behind with its goroutine, which ends when the kernel comes back.
const (
	// hangsAfter is how long a call may take. One takes 100 ms, and an opening of a TCP connection some seconds.
	hangsAfter = 15 * time.Second
	// stopsAfter is how long the end of the context waits for a call that hangs.
	stopsAfter = 2 * time.Second
	// mostHanging is how many calls are left behind at once. More are begun when one of them has come back.
	mostHanging = 3
)

// patience counts the calls of one link that hang.
type patience struct{ hanging atomic.Int32 }

// within runs a call in a goroutine of its own and waits for it. false means that it was left behind; late is run after it then.
func (p *patience) within(ctx context.Context, call, late func()) bool {
	done := make(chan struct{})
	var state atomic.Int32 // 1 when the call has come back, 2 when it was left behind; who is first counts
	go func() {
		call()
		if state.CompareAndSwap(0, 1) {
			close(done)
			return
		}
		late()
		p.hanging.Add(-1)
	}()
	hangs := time.NewTimer(hangsAfter)
	defer hangs.Stop()
	select {
	case <-done:
		return true
	case <-hangs.C:
	case <-ctx.Done():
		stops := time.NewTimer(stopsAfter)
		defer stops.Stop()
		select {
		case <-done:
			return true
		case <-stops.C:
		}
	}
	p.hanging.Add(1)
	if !state.CompareAndSwap(0, 2) {
		p.hanging.Add(-1)
		<-done
		return true
	}
	return false
}

// open opens a stream that is left behind where its driver hangs.
func (p *patience) open(ctx context.Context, s Settings, open opener) (*patientStream, error) {
	if n := p.hanging.Load(); n >= mostHanging {
		return nil, fmt.Errorf("open %q: %w: %d calls hang", s.Port, ErrHangs, n)
	}
	var st io.ReadWriteCloser
	var err error
	if !p.within(ctx, func() { st, err = open(ctx, s) }, func() {
		if err == nil {
			_ = st.Close()
		}
	}) {
		return nil, fmt.Errorf("open %q: %w", s.Port, ErrHangs)
	}
	if err != nil {
		if p.hanging.Load() > 0 && errors.Is(err, ErrBusy) {
			err = fmt.Errorf("open %q: %w: it holds the port", s.Port, ErrHangs)
		}
		return nil, err
	}
	return &patientStream{ReadWriteCloser: st, name: s.Port, ctx: ctx, patience: p}, nil
}

// patientStream is a stream whose reads are left behind when they hang. It then counts as lost, and is
// closed when the read has come back.
type patientStream struct {
	io.ReadWriteCloser
	name     string
	ctx      context.Context
	patience *patience
	left     bool
	ask      chan struct{} // a read is wanted; closed at the end
	got      chan result
	buf      [512]byte // of the goroutine that reads, between ask and got
}

type result struct {
	n   int
	err error
}

// begin starts the goroutine that reads. It ends at Close, or when a read that was left behind comes back.
func (st *patientStream) begin() {
	st.ask, st.got = make(chan struct{}), make(chan result, 1)
	go func() {
		for range st.ask {
			n, err := st.ReadWriteCloser.Read(st.buf[:])
			st.got <- result{n, err}
		}
	}()
}

// Read reads from the stream. The error wraps ErrLost and ErrHangs where the driver does not come back.
func (st *patientStream) Read(p []byte) (int, error) {
	if st.left {
		return 0, fmt.Errorf("read %q: %w: %w", st.name, ErrLost, ErrHangs)
	}
	if st.ask == nil {
		st.begin()
	}
	st.ask <- struct{}{}
	hangs := time.NewTimer(hangsAfter)
	defer hangs.Stop()
	select {
	case r := <-st.got:
		return copy(p, st.buf[:r.n]), r.err
	case <-hangs.C:
	case <-st.ctx.Done():
		stops := time.NewTimer(stopsAfter)
		defer stops.Stop()
		select {
		case r := <-st.got:
			return copy(p, st.buf[:r.n]), r.err
		case <-stops.C:
		}
	}
	st.left = true
	st.patience.hanging.Add(1)
	go func() {
		<-st.got
		close(st.ask)
		_ = st.ReadWriteCloser.Close()
		st.patience.hanging.Add(-1)
	}()
	return 0, fmt.Errorf("read %q: %w: %w", st.name, ErrLost, ErrHangs)
}

// Close closes the stream. One that was left behind closes itself.
func (st *patientStream) Close() error {
	if st.left {
		return nil
	}
	if st.ask != nil {
		close(st.ask)
	}
	var err error
	if !st.patience.within(context.WithoutCancel(st.ctx), func() { err = st.ReadWriteCloser.Close() }, func() {}) {
		return fmt.Errorf("close %q: %w", st.name, ErrHangs)
	}
	return err
}
