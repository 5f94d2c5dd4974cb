package instruments

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/simulate"
	"potlifed/model/air"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// counting is a sink that only counts readings.
type counting chan struct{}

func (c counting) SensorRead(ctx context.Context, _ string, _ SensorReading) {
	select {
	case c <- struct{}{}:
	case <-ctx.Done():
	}
}
func (counting) ScaleRead(context.Context, string, weigh.Reading)              {}
func (counting) Identified(context.Context, bool, string, string)              {}
func (counting) TrendRead(context.Context, string, TrendReading)               {}
func (counting) ScaleKey(context.Context, string)                              {}
func (counting) ScaleLink(context.Context, string, bool, health.Fault, string) {}
func (counting) ScaleLines(context.Context, string, map[string]uint64)         {}

// BenchmarkEightSensors: one operation is one reading of one of eight kernel sensors, through the
// reader. At every: 5s they make 1.6 readings a second; a Pi may spend 0.1 % of a core on them, so
// 600 µs each.
func BenchmarkEightSensors(b *testing.B) {
	var shop config.Shop
	for i := range 8 {
		dir := filepath.Join(b.TempDir(), "hwmon0")
		if _, err := simulate.NewRoom(dir, air.State{TemperatureC: 21, HumidityPct: 50}); err != nil {
			b.Fatal(err)
		}
		shop.Sensors = append(shop.Sensors, config.Sensor{ID: fmt.Sprintf("air-%d", i), Source: config.Hwmon, Path: dir, Every: time.Microsecond})
	}
	ctx, cancel := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	read := make(counting)
	go func() {
		ended <- Reader{Shop: shop, Clock: systemClock{}, Log: slog.New(slog.DiscardHandler), Sink: read}.Run(ctx)
	}()
	for b.Loop() {
		<-read
	}
	cancel()
	if err := <-ended; err != nil {
		b.Error(err)
	}
}
