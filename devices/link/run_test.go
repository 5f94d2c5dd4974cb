package link

import (
	"context"
	"errors"
	"io"
	"os"
	"reflect"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"potlifed/devices/simulate"
)

// running is a Run in the background whose changes can be awaited.
type running struct {
	t       *testing.T
	changes chan Change
	bytes   chan int
	cancel  context.CancelFunc
	done    chan error
	once    sync.Once
}

func start(t *testing.T, s Settings) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{t: t, changes: make(chan Change, 100), bytes: make(chan int, 1), cancel: cancel, done: make(chan error, 1)}
	go func() {
		r.done <- Run(ctx, s, Handler{
			Bytes: func(p []byte) bool {
				select {
				case r.bytes <- len(p):
				default:
				}
				return true
			},
			Change: func(c Change) { r.changes <- c },
		})
	}()
	t.Cleanup(r.stop)
	return r
}

// stop ends Run and waits for it; it may be repeated.
func (r *running) stop() {
	r.once.Do(func() {
		r.cancel()
		if err := <-r.done; err != nil {
			r.t.Errorf("Run returned %v at its end, want nil", err)
		}
	})
}

// await waits for the next change and demands its kind.
func (r *running) await(kind Kind) Change {
	r.t.Helper()
	select {
	case c := <-r.changes:
		if c.Kind != kind {
			r.t.Fatalf("got the change %q (%v), want %q", c.Kind, c.Err, kind)
		}
		return c
	case <-time.After(10 * time.Second):
		r.t.Fatalf("no change came, want %q", kind)
	}
	return Change{}
}

func (r *running) awaitBytes() {
	r.t.Helper()
	select {
	case <-r.bytes:
	default:
	}
	select {
	case <-r.bytes:
	case <-time.After(10 * time.Second):
		r.t.Fatal("no bytes came")
	}
}

func TestRunComesBackUnderTheSameName(t *testing.T) {
	for _, tcp := range []bool{false, true} {
		s := newScale(t, simulate.ScaleOptions{TCP: tcp})
		r := start(t, Settings{Port: s.Port(), RetryMin: 5 * time.Millisecond, RetryMax: 20 * time.Millisecond})
		r.await(Connected)
		r.await(Speaking)
		before := openDescriptors(t)
		for range 3 {
			if err := s.Unplug(); err != nil {
				t.Fatal(err)
			}
			if c := r.await(Lost); !errors.Is(c.Err, ErrLost) {
				t.Errorf("lost with %v", c.Err)
			}
			if c := r.await(Failed); !errors.Is(c.Err, ErrAbsent) {
				t.Errorf("failed with %v, want ErrAbsent", c.Err)
			}
			if err := s.Replug(); err != nil {
				t.Fatal(err)
			}
			if c := r.await(Connected); c.Attempts < 1 {
				t.Errorf("connected after %d failures, want some", c.Attempts)
			}
			r.await(Speaking)
			r.awaitBytes()
		}
		if after := openDescriptors(t); after > before {
			t.Errorf("%d descriptors open before, %d after three losses: dead ones are kept", before, after)
		}
		r.stop()
		select {
		case c := <-r.changes:
			t.Errorf("our own stop was reported as %q: %v", c.Kind, c.Err)
		default:
		}
	}
}

// openDescriptors counts this process's descriptors.
func openDescriptors(t *testing.T) int {
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("no /proc here")
	}
	return len(entries)
}

// talker is a stream whose device sends a byte every 10 ms while it talks. A read waits for a byte
// for pollEvery at most, as those of real streams do.
type talker struct{ quiet atomic.Bool }

func (d *talker) Read(p []byte) (int, error) {
	if d.quiet.Load() {
		time.Sleep(pollEvery)
		return 0, os.ErrDeadlineExceeded
	}
	time.Sleep(10 * time.Millisecond)
	p[0] = '0'
	return 1, nil
}
func (d *talker) Write(p []byte) (int, error) { return len(p), nil }
func (d *talker) Close() error                { return nil }

// listen runs a link to the device in the present synctest bubble.
func listen(t *testing.T, d *talker, s Settings) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	r := &running{t: t, changes: make(chan Change, 100), cancel: cancel, done: make(chan error, 1)}
	go func() {
		r.done <- runWith(ctx, s.withDefaults(), Handler{
			Bytes:  func([]byte) bool { return true },
			Change: func(c Change) { r.changes <- c },
		}, func(context.Context, Settings) (io.ReadWriteCloser, error) { return d, nil })
	}()
	return r
}

func TestRunReportsSilenceOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &talker{}
		r := listen(t, d, Settings{Port: "/dev/x", Silence: 150 * time.Millisecond})
		defer r.stop()
		r.await(Connected)
		r.await(Speaking)
		for range 2 {
			d.quiet.Store(true)
			if c := r.await(Silent); c.Quiet < 150*time.Millisecond || c.Quiet > 150*time.Millisecond+pollEvery {
				t.Errorf("silent after %v", c.Quiet)
			}
			time.Sleep(time.Minute)
			d.quiet.Store(false)
			r.await(Speaking)
		}
	})
}

func TestRunReopensHalfOpenTCP(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &talker{}
		r := listen(t, d, Settings{Port: "tcp://192.0.2.1:4001", Silence: time.Second, HalfOpen: 10 * time.Second, RetryMin: time.Second})
		defer r.stop()
		r.await(Connected)
		r.await(Speaking)
		d.quiet.Store(true)
		r.await(Silent)
		silent := time.Now()
		if c := r.await(Lost); !errors.Is(c.Err, ErrLost) || !errors.Is(c.Err, errHalfOpen) {
			t.Errorf("lost with %v, want the half-open cause", c.Err)
		}
		if after := time.Since(silent); after != 9*time.Second {
			t.Errorf("reopened %v after the silence was reported, want 9s", after)
		}
		r.await(Connected)
		d.quiet.Store(false)
		r.await(Speaking)
	})
}

func TestRunWaitsForABusyPort(t *testing.T) {
	s := newScale(t, simulate.ScaleOptions{})
	if s.OnNetwork() {
		t.Skip("needs a pseudo-terminal")
	}
	other, err := Open(t.Context(), Settings{Port: s.Port()})
	if err != nil {
		t.Fatal(err)
	}
	r := start(t, Settings{Port: s.Port(), RetryMin: time.Millisecond, RetryMax: 5 * time.Millisecond})
	if c := r.await(Failed); !errors.Is(c.Err, ErrBusy) {
		t.Errorf("failed with %v, want ErrBusy", c.Err)
	}
	if err := other.Close(); err != nil {
		t.Fatal(err)
	}
	r.await(Connected)
}

func TestRunRefusesWrongSettings(t *testing.T) {
	if err := Run(t.Context(), Settings{}, Handler{}); !errors.Is(err, ErrSettings) {
		t.Errorf("got %v, want ErrSettings", err)
	}
}

// shortStream gives its bytes once and is then lost.
type shortStream struct{ left string }

func (s *shortStream) Read(p []byte) (int, error) {
	if s.left == "" {
		return 0, ErrLost
	}
	n := copy(p, s.left)
	s.left = s.left[n:]
	return n, nil
}
func (s *shortStream) Write(p []byte) (int, error) { return len(p), nil }
func (s *shortStream) Close() error                { return nil }

func TestBackOffResetsAfterGoodDataOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		began := time.Now()
		var at []time.Duration
		// Absent twice, then twice a good open with noise, then good data, and
		// absent again.
		script := []io.ReadWriteCloser{nil, nil, &shortStream{"noise"}, &shortStream{}, &shortStream{"good"}, nil, nil}
		err := runWith(ctx, Settings{Port: "/dev/x", RetryMin: time.Second, RetryMax: 10 * time.Second, Silence: time.Minute}, Handler{
			Bytes: func(p []byte) bool { return string(p) == "good" },
		}, func(context.Context, Settings) (io.ReadWriteCloser, error) {
			at = append(at, time.Since(began))
			next := script[len(at)-1]
			if len(at) == len(script) {
				cancel()
			}
			if next == nil {
				return nil, ErrAbsent
			}
			return next, nil
		})
		if err != nil {
			t.Fatal(err)
		}
		var waits []time.Duration
		for i := 1; i < len(at); i++ {
			waits = append(waits, at[i]-at[i-1])
		}
		want := []time.Duration{1 * time.Second, 2 * time.Second, 4 * time.Second, 8 * time.Second, 1 * time.Second, 2 * time.Second}
		if !reflect.DeepEqual(waits, want) {
			t.Errorf("waited %v, want %v", waits, want)
		}
	})
}

func TestFailureIsReportedOncePerCause(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		causes := []error{ErrAbsent, ErrAbsent, ErrAbsent, ErrDenied, ErrDenied, ErrAbsent}
		var reported []error
		tries := 0
		err := runWith(ctx, Settings{Port: "/dev/x"}.withDefaults(), Handler{
			Change: func(c Change) { reported = append(reported, c.Err) },
		}, func(context.Context, Settings) (io.ReadWriteCloser, error) {
			if tries == len(causes) {
				cancel()
				return nil, context.Canceled
			}
			tries++
			return nil, causes[tries-1]
		})
		if err != nil {
			t.Fatal(err)
		}
		if want := []error{ErrAbsent, ErrDenied, ErrAbsent}; !reflect.DeepEqual(reported, want) {
			t.Errorf("reported %v, want %v", reported, want)
		}
	})
}
