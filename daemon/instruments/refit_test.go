package instruments

import (
	"context"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/model/air"
)

// What is configured as before is read on, over the same connection; the rest comes and goes with
// the configuration.
func TestInstrumentsFollowTheConfiguration(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "hwmon0")
	room(t, dir, air.State{TemperatureC: 23, HumidityPct: 61})
	west := config.Sensor{ID: "west", Path: dir, Every: time.Millisecond}
	east := config.Sensor{ID: "east", Source: config.Lines, Port: streams(t, "T:21.5 RH:48.3\r\n"), Line: "T:{temperature} RH:{humidity}", Every: time.Millisecond}
	scale := config.Scale{ID: "round", Port: streams(t, shownLine), Line: "status-first"}
	h, changes := newHeard(), make(chan config.Shop)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- Reader{Shop: config.Shop{Sensors: []config.Sensor{west}, Scales: []config.Scale{scale}}, Changed: changes, Clock: systemClock{}, Log: slog.New(slog.DiscardHandler), Sink: h}.Run(ctx)
	}()
	h.until(t, "the first", func() bool { return h.read["west"].Err == nil && h.reads["west"] > 1 && h.weight.HasWeight })
	for range 20 {
		changes <- config.Shop{Sensors: []config.Sensor{west, east}, Scales: []config.Scale{scale}}
		h.until(t, "a new sensor", func() bool { return h.reads["east"] > 0 && h.read["east"].Err == nil })
		changes <- config.Shop{Sensors: []config.Sensor{west}, Scales: []config.Scale{scale}}
		h.mu.Lock()
		h.reads["east"] = 0
		h.mu.Unlock()
	}
	moved := west
	moved.Path = filepath.Join(t.TempDir(), "nothing")
	changes <- config.Shop{Sensors: []config.Sensor{moved}, Scales: []config.Scale{scale}}
	h.until(t, "another path", func() bool { return h.read["west"].Err != nil })
	changes <- config.Shop{Sensors: []config.Sensor{west}, Scales: []config.Scale{scale}}
	h.until(t, "the path of before", func() bool { return h.read["west"].Err == nil })
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	connected := 0
	for _, up := range h.links {
		if up {
			connected++
		} else {
			t.Error("the scale's link was lost")
		}
	}
	if connected > 2 { // connected, and speaking
		t.Errorf("the scale was connected %d times", connected)
	}
}
