package daemon

import (
	"context"
	"net/http"
	"testing"
	"time"
)

// TestAPageThatHangsIsSeen: a page that hangs leaves systemd without a sign of
// life; one that answers again is not asked twice at a time.
func TestAPageThatHangsIsSeen(t *testing.T) {
	release, asked := make(chan struct{}), make(chan struct{}, 8)
	a := &askedPage{page: http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		asked <- struct{}{}
		<-release
	})}
	for range 3 {
		if a.answers(time.Millisecond) {
			t.Fatal("a page that hangs answers")
		}
	}
	<-asked
	if len(asked) != 0 {
		t.Errorf("%d more requests while the first hangs", len(asked))
	}
	close(release)
	if !a.answers(time.Minute) || !a.answers(time.Minute) {
		t.Error("a page that answers again counts as hung")
	}
}

// TestTheWatchdogIsFed runs the whole service: loop, journal and page answer.
func TestTheWatchdogIsFed(t *testing.T) {
	t.Setenv("WATCHDOG_USEC", "30000")
	told := notifications(t)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- Run(ctx, settings(t, `""`)) }()
	for _, want := range []string{"READY=1", "WATCHDOG=1", "WATCHDOG=1"} {
		if got := told(time.Minute); got != want {
			t.Errorf("systemd was told %q, want %q", got, want)
		}
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
