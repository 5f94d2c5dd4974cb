package instruments

import (
	"context"
	"log/slog"
	"path/filepath"
	"reflect"
	"slices"
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

// A unit that is added on one Modbus line restarts what is on that line and nothing else.
func TestEachModbusLineIsReadApart(t *testing.T) {
	unit := func(id, port string) config.Sensor {
		return config.Sensor{ID: id, Source: config.Modbus, Port: port, Every: time.Second}
	}
	scale := config.Scale{ID: "round", Port: "/dev/scale"}
	before := Reader{}.tasks(config.Shop{Sensors: []config.Sensor{unit("west", "/dev/a"), unit("east", "/dev/b")}, Scales: []config.Scale{scale}})
	after := Reader{}.tasks(config.Shop{Sensors: []config.Sensor{unit("west", "/dev/a"), unit("east", "/dev/b"), unit("yard", "/dev/b")}, Scales: []config.Scale{scale}})
	if len(before) != 3 || len(after) != 3 {
		t.Fatalf("%d and %d tasks, want one for each line and one for the scale", len(before), len(after))
	}
	var changed []string
	for name, is := range after {
		if !reflect.DeepEqual(is.config, before[name].config) {
			changed = append(changed, name)
		}
	}
	if !slices.Equal(changed, []string{"modbus /dev/b"}) {
		t.Errorf("started again: %v, want the line with the new unit", changed)
	}
}
