package instruments

import (
	"context"
	"errors"
	"log/slog"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/climate"
	"potlifed/model/air"
	"potlifed/model/health"
)

// hanging is a sensor whose reads do not come back, and pay no heed to their context, until it is let go.
type hanging struct {
	letGo chan struct{}
	reads atomic.Int32
}

func (h *hanging) Read(context.Context) (air.State, error) {
	h.reads.Add(1)
	<-h.letGo
	return air.State{TemperatureC: 20, HumidityPct: 50}, nil
}

func (h *hanging) Name() string { return "" }

// TestAReadThatHangsInADriver: it is told after a bound, is not read a second time meanwhile, and is read
// again once it has come back. What it brings late is not used.
func TestAReadThatHangsInADriver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := &hanging{letGo: make(chan struct{})}
		var a attempt
		began := time.Now()
		if _, err := a.read(t.Context(), h); !errors.Is(err, climate.ErrBlocked) || sensorFault(err) != health.Blocked || time.Since(began) != longestReading+hangsAfter {
			t.Errorf("hanging: %v after %v", err, time.Since(began))
		}
		for range 1000 {
			began := time.Now()
			if _, err := a.read(t.Context(), h); !errors.Is(err, climate.ErrBlocked) || time.Since(began) != 0 {
				t.Fatalf("while it hangs: %v after %v", err, time.Since(began))
			}
		}
		if h.reads.Load() != 1 {
			t.Errorf("%d reads hang, want 1", h.reads.Load())
		}
		close(h.letGo)
		synctest.Wait()
		if s, err := a.read(t.Context(), h); err != nil || s.HumidityPct != 50 || h.reads.Load() != 2 {
			t.Errorf("afterwards: %+v, %v, %d reads", s, err, h.reads.Load())
		}
	})
	synctest.Test(t, func(t *testing.T) { // a stop does not wait for it for long
		h := &hanging{letGo: make(chan struct{})}
		ctx, stop := context.WithTimeout(t.Context(), time.Second)
		defer stop()
		began := time.Now()
		var a attempt
		if _, err := a.read(ctx, h); !errors.Is(err, climate.ErrBlocked) || time.Since(began) != time.Second+hangsAfter {
			t.Errorf("stopped: %v after %v", err, time.Since(began))
		}
		close(h.letGo)
	})
}

// TestATaskThatHangsIsLeftBehind: neither the end nor another configuration waits for it without end.
func TestATaskThatHangsIsLeftBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ended, hung := make(chan struct{}), make(chan struct{})
		close(ended)
		stopped := 0
		stop := func() { stopped++ }
		running := map[string]started{"a": {1, stop, ended}, "b": {1, stop, hung}, "c": {1, stop, hung}}
		began := time.Now()
		Reader{Log: slog.New(slog.DiscardHandler)}.refit(t.Context(), running, config.Shop{})
		if len(running) != 0 || stopped != 3 || time.Since(began) != stopsWithin {
			t.Errorf("%d tasks are left and %d were stopped after %v", len(running), stopped, time.Since(began))
		}
	})
}
