package instruments

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"
)

// TestFaultsComeOncePerInterval: as long as a fault lasts it is told in every interval, and a good value
// comes at once, but not closer than the pace to the one before, also where the pace is the interval.
func TestFaultsComeOncePerInterval(t *testing.T) {
	const every = 10 * time.Second
	for _, pace := range []time.Duration{time.Second, every} {
		synctest.Test(t, func(t *testing.T) {
			began := time.Now()
			var good, bad []time.Duration
			in := newInbox[float64]()
			in.connected(errors.New("no such port"))
			ctx, cancel := context.WithCancel(t.Context())
			ended := make(chan struct{})
			go func() {
				defer close(ended)
				pass(ctx, systemClock{}, in, every, pace, func(_ float64, _ time.Duration, err error) {
					if err != nil {
						bad = append(bad, time.Since(began))
					} else {
						good = append(good, time.Since(began))
					}
				})
			}()
			time.Sleep(35 * time.Second)
			in.connected(nil)
			in.put(1, 1, nil)
			synctest.Wait()
			in.put(2, 2, nil)
			time.Sleep(2 * every)
			cancel()
			<-ended
			if want := []time.Duration{every, 2 * every, 3 * every}; !slices.Equal(bad, want) {
				t.Errorf("pace %v: faults after %v, want %v", pace, bad, want)
			}
			if want := []time.Duration{35 * time.Second, 35*time.Second + pace}; !slices.Equal(good, want) {
				t.Errorf("pace %v: values after %v, want %v", pace, good, want)
			}
		})
	}
}
