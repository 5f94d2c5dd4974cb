package pace_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"potlifed/daemon/pace"
)

func TestPauseWaitsOncePerSlice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := pace.New(t.Context())
		paused := func() time.Duration {
			began := time.Now()
			p.Pause()
			return time.Since(began)
		}
		for range 3 {
			if d := paused(); d != 0 {
				t.Fatalf("waited %v before a slice was over", d)
			}
			time.Sleep(2 * time.Millisecond) // the computation
			if d := paused(); d < time.Millisecond {
				t.Fatalf("waited %v after 2 ms of work, expected 1 ms at least", d)
			}
		}
	})
}

func TestPauseEndsWithTheContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		p := pace.New(ctx)
		time.Sleep(2 * time.Millisecond)
		cancel()
		began := time.Now()
		if p.Pause(); time.Since(began) != 0 {
			t.Fatalf("waited %v after the end of the context", time.Since(began))
		}
	})
}
