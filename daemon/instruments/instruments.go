// Package instruments opens the scales and sensors of a configuration, reads them for as
// long as the service runs, and hands their readings on. It decides nothing about what
// they mean.
//
// [Reader.Run] is for the service. [TryScale], [OpenSensor] and [ReadSensor] do the same
// once, for a person who sets an instrument up.
package instruments

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/model/air"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// Sink takes in what the instruments say. Its methods are called from several goroutines
// at once, for one instrument in the order in which things happened. They may block, but
// return when ctx is done.
type Sink interface {
	// SensorRead takes in one reading of a sensor, or why there is none.
	SensorRead(ctx context.Context, sensor string, r SensorReading)
	// ScaleRead takes in one line of a scale. The reading has no time yet.
	ScaleRead(ctx context.Context, scale string, r weigh.Reading)
	// ScaleKey takes in that the print key of a scale was pressed.
	ScaleKey(ctx context.Context, scale string)
	// ScaleLink takes in whether a scale is connected, and why not: a fault, and the error.
	ScaleLink(ctx context.Context, scale string, up bool, fault health.Fault, detail string)
	// ScaleLines takes in how many lines of a scale had which outcome since the start: ok,
	// overload, torn, unknown or overlong. The receiver owns the map.
	ScaleLines(ctx context.Context, scale string, lines map[string]uint64)
}

// SensorReading is one reading of a sensor, or why there is none.
type SensorReading struct {
	Air  air.State     // if Err is nil
	Age  time.Duration // how long ago it was measured, for a sensor that tells
	Took time.Duration // how long the reading took, in real time
	Err  error
	// Fault is what kind of error Err is; empty without one. With health.Implausible the sensor
	// did answer, with a value that no air has.
	Fault health.Fault
}

// Reader reads the instruments of a configuration.
type Reader struct {
	Shop  config.Shop
	Clock clock.Clock // paces the sensors
	Log   *slog.Logger
	Sink  Sink
	// Subscriber hears sensors that publish; nil where MQTT is off.
	Subscriber Subscriber
}

// Run reads each instrument in a goroutine of its own. It returns nil once ctx is done and
// all of them have ended. A missing instrument is no failure: it is tried again.
func (r Reader) Run(ctx context.Context) error {
	var running sync.WaitGroup
	var lines buses
	var publish []config.Sensor
	for _, c := range r.Shop.Sensors {
		switch c.Source {
		case config.Published:
			publish = append(publish, c)
		case config.Lines:
			running.Go(func() { r.lines(ctx, c) })
		default:
			running.Go(func() { r.sensor(ctx, c, &lines) })
		}
	}
	running.Go(func() { r.published(ctx, publish) })
	for _, c := range r.Shop.Scales {
		running.Go(func() { r.scale(ctx, c) })
	}
	running.Wait()
	<-ctx.Done()
	for _, err := range lines.close() {
		r.Log.Warn("a Modbus line does not close", "err", err)
	}
	return nil
}
