package daemon

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"testing"

	"potlifed/daemon/mqtt/mqtttest"
)

func TestMain(m *testing.M) { mqtttest.VerifyNoLeaks(m) }

// parts notes the order in which parts end.
type parts struct {
	mu    sync.Mutex
	ended []string
}

func (p *parts) until(name string) func(context.Context) error {
	return func(ctx context.Context) error {
		<-ctx.Done()
		p.mu.Lock()
		defer p.mu.Unlock()
		p.ended = append(p.ended, name)
		return nil
	}
}

// TestAPartThatFailsEndsTheRun lets a part in the middle fail, with an error and without
// one. The others are stopped, the last one started first, and the failure is returned.
func TestAPartThatFailsEndsTheRun(t *testing.T) {
	broken := errors.New("the listener is gone")
	for _, failure := range []error{broken, nil} {
		var p parts
		r := newRunner(t.Context(), slog.New(slog.DiscardHandler))
		r.start("journal", p.until("journal"))
		r.start("bench", p.until("bench"))
		r.start("web", func(context.Context) error { return failure })
		r.start("instruments", p.until("instruments"))
		<-r.ending()
		err := r.stop()
		if err == nil || !strings.HasPrefix(err.Error(), "web: ") || failure != nil && !errors.Is(err, broken) {
			t.Errorf("the run ends with %v", err)
		}
		if got := strings.Join(p.ended, " "); got != "instruments bench journal" {
			t.Errorf("stopped in the order %q", got)
		}
	}
}

func TestARunThatIsStoppedHasNoError(t *testing.T) {
	var p parts
	ctx, cancel := context.WithCancel(t.Context())
	r := newRunner(ctx, slog.New(slog.DiscardHandler))
	r.start("journal", p.until("journal"))
	r.start("bench", p.until("bench"))
	cancel()
	<-r.ending()
	if err := r.stop(); err != nil {
		t.Error(err)
	}
	if got := strings.Join(p.ended, " "); got != "bench journal" {
		t.Errorf("stopped in the order %q", got)
	}
}

// TestAllFailuresAreReturned: a part that fails while it is stopped, since another one
// has failed, is told of too.
func TestAllFailuresAreReturned(t *testing.T) {
	gone, full := errors.New("listener gone"), errors.New("disk full")
	r := newRunner(t.Context(), slog.New(slog.DiscardHandler))
	r.start("bench", func(ctx context.Context) error { <-ctx.Done(); return full })
	r.start("web", func(context.Context) error { return gone })
	<-r.ending()
	if err := r.stop(); !errors.Is(err, gone) || !errors.Is(err, full) {
		t.Errorf("the run ends with %v, want both failures", err)
	}
}

// TestAFailureWhileStoppingIsReturned: what could not be brought to disk is an error.
func TestAFailureWhileStoppingIsReturned(t *testing.T) {
	full := errors.New("disk full")
	ctx, cancel := context.WithCancel(t.Context())
	r := newRunner(ctx, slog.New(slog.DiscardHandler))
	r.start("bench", func(ctx context.Context) error { <-ctx.Done(); return full })
	cancel()
	<-r.ending()
	if err := r.stop(); !errors.Is(err, full) {
		t.Errorf("the run ends with %v", err)
	}
}
