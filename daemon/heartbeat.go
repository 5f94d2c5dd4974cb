package daemon

import (
	"context"
	"net/http"
	"time"

	notify "github.com/coreos/go-systemd/v22/daemon"

	"potlifed/daemon/clock"
)

// How long a part may give no sign of life before it counts as hung.
const (
	// hungAfter is how old the newest snapshot may be. The loop makes one at least once a second.
	hungAfter = 10 * time.Second
	// writesWithin is how long the journal may write one group. A bad card takes seconds for it.
	writesWithin = time.Minute
	// pageWithin is how long a page may take. It is asked again at the next beat.
	pageWithin = 5 * time.Second
)

// heartbeat tells systemd that the service is ready and then, for as long as loop, journal and
// page give signs of life, that it lives. systemd thereby restarts a process of which one hangs.
// A service manager that cannot be told is logged and ends nothing.
func (s *service) heartbeat(ctx context.Context, page http.Handler) error {
	s.notify("that the service is ready", notify.SdNotifyReady)
	interval, err := notify.SdWatchdogEnabled(false)
	if err != nil {
		s.Log.Warn("the watchdog's interval cannot be read; systemd is not told that the service lives", "err", err)
	}
	if err != nil || interval == 0 {
		<-ctx.Done()
		return nil
	}
	asked := &askedPage{page: page}
	ticker := time.NewTicker(interval / 3)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			s.notify("that the service stops", notify.SdNotifyStopping)
			return nil
		case <-ticker.C:
			if part := s.hung(asked); part != "" {
				s.Log.Error("a part of the service hangs; systemd is not told that the service lives", "part", part)
				continue
			}
			s.notify("that the service lives", notify.SdNotifyWatchdog)
		}
	}
}

func (s *service) notify(what, state string) {
	if _, err := notify.SdNotify(false, state); err != nil {
		s.Log.Warn("systemd cannot be told "+what, "err", err)
	}
}

// hung returns the part that gives no sign of life; empty when all do.
func (s *service) hung(page *askedPage) string {
	switch {
	case clock.Took(s.Clock, s.Clock.Now().Mono-s.bench.Snapshot().Mono) > hungAfter:
		return "loop"
	case clock.Took(s.Clock, s.bench.Writing()) > writesWithin:
		return "journal"
	case !page.answers(pageWithin):
		return "page"
	}
	return ""
}

// askedPage asks the server for a page as a request on this computer does, but not through the
// network: otherwise a stranger who takes all connections could have the service restarted.
type askedPage struct {
	page    http.Handler
	pending chan struct{} // closed by the answer to a request that took too long
}

// answers reports whether the page is answered in time. A request that is not answered is waited
// for, and no other is begun.
func (a *askedPage) answers(within time.Duration) bool {
	if a.pending == nil {
		request, err := http.NewRequest(http.MethodGet, "http://127.0.0.1/readyz", nil)
		if err != nil { // the address is a constant
			panic(err)
		}
		request.RemoteAddr = "127.0.0.1:1"
		a.pending = make(chan struct{})
		go func(done chan<- struct{}) {
			defer close(done)
			a.page.ServeHTTP(nowhere{}, request)
		}(a.pending)
	}
	timer := time.NewTimer(within)
	defer timer.Stop()
	select {
	case <-a.pending:
		a.pending = nil
		return true
	case <-timer.C:
		return false
	}
}

// nowhere takes an answer and drops it.
type nowhere struct{}

// Header returns a header that nobody reads.
func (nowhere) Header() http.Header { return http.Header{} }

// Write returns the length of p, and no error.
func (nowhere) Write(p []byte) (int, error) { return len(p), nil }

// WriteHeader does nothing.
func (nowhere) WriteHeader(int) {}

// SetReadDeadline returns no error: there is nothing to wait for.
func (nowhere) SetReadDeadline(time.Time) error { return nil }

// SetWriteDeadline returns no error: there is nothing to wait for.
func (nowhere) SetWriteDeadline(time.Time) error { return nil }
